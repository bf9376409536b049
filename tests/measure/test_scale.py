"""Scale from cores and card: drawn cores of known width, and the rule that joins two estimates."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from audit.card.scale import Scale
from audit.card.types import CardSight
from audit.measure.cable_table import core_sizes
from audit.measure.core_widths import CardGuess, CoreWidth, card_alone, core_widths, scale_of
from audit.measure.declared import Declared
from audit.measure.scale import card_ways, work_scale
from audit.settings import Settings
from audit.sight.types import Material, Strand, Strands

Rgb = NDArray[np.uint8]


def _core(width: float, blur: float, ground: int, shadow: bool, guess: float) -> tuple[Rgb, Strand]:
    """A blue cylinder, brighter along its middle, drawn at eight times the size; a poor guess of it."""
    n, k = 240, 8
    y, x = np.mgrid[0 : n * k, 0 : n * k] / k
    turn = 0.4
    across = ((x - n / 2) * np.sin(turn) - (y - n / 2) * np.cos(turn)) / (width / 2)
    shade = 0.55 + 0.45 * np.sqrt(np.clip(1 - across**2, 0, 1))
    light = np.where(shadow & (across > 1) & (across < 1.5), 0.7, 1.0)[..., None]
    fine = np.where(
        (np.abs(across) < 1)[..., None],
        shade[..., None] * np.array([40, 80, 190.0]),
        ground * light,
    )
    image = cv2.resize(fine, (n, n), interpolation=cv2.INTER_AREA)
    image = cv2.GaussianBlur(image, (0, 0), blur)
    image = image + np.random.default_rng(1).normal(0, 2.0, image.shape)
    t = np.linspace(-90, 90, 60)
    path = n / 2 + np.column_stack([t * np.cos(turn), t * np.sin(turn)])
    strand = Strand(Material.BLUE, path, np.full(60, width * guess), 0.95)
    return np.clip(image, 0, 255).astype(np.uint8), strand


@pytest.mark.parametrize("width", [12.0, 18.0, 30.0])
@pytest.mark.parametrize("guess", [0.8, 1.0, 1.2])
@pytest.mark.parametrize(
    ("ground", "shadow"), [(205, False), (150, False), (40, False), (205, True)]
)
def test_a_core_is_measured_whatever_the_map_says(
    width: float, guess: float, ground: int, shadow: bool
) -> None:
    rgb, strand = _core(width, 0.9, ground, shadow, guess)
    (found,) = core_widths(rgb, Strands(cores=(strand,)), 1.0)
    assert found.px == pytest.approx(width, rel=0.06)


def test_sleeving_is_no_core_and_a_photo_without_edges_falls_back_on_the_map() -> None:
    rgb, strand = _core(18.0, 0.9, 205, False, 1.0)
    sleeve = Strand(Material.GREEN_YELLOW, strand.path, strand.width, 0.9)
    assert core_widths(rgb, Strands(cores=(sleeve,)), 1.0) == ()
    (rough,) = core_widths(np.full_like(rgb, 120), Strands(cores=(strand,)), 1.0)
    assert rough.px == pytest.approx(18.0) and rough.sigma_rel > 0.1


def test_two_estimates_are_weighted_by_their_variances() -> None:
    """JCGM 100:2008, annex F.1.2.4 / weighted mean of independent estimates, in log scale."""
    widths = [CoreWidth(27.8, 1.0)]
    u_core = math.hypot(2 * 0.05, 0.06)
    got = scale_of(widths, [(2.78, 1.0)], 0.06, (CardGuess(1.0, 10.5, 0.04),))
    assert got is not None
    w_core, w_card = u_core**-2, 0.08**-2
    mean = (w_core * math.log(10.0) + w_card * math.log(10.5)) / (w_core + w_card)
    assert math.log(got.px_per_mm) == pytest.approx(mean, abs=0.003)
    assert got.u95_rel == pytest.approx((w_core + w_card) ** -0.5, rel=0.1)


def test_many_cores_do_not_make_the_makers_spread_less() -> None:
    got = scale_of([CoreWidth(27.8, 1.0)] * 40, [(2.78, 1.0)], 0.06)
    assert got is not None and got.u95_rel > 0.06


def test_the_card_tells_which_size_the_cores_are() -> None:
    sizes = [(2.33, 0.5), (3.38, 0.5)]
    for mm in (2.33, 3.38):
        got = scale_of([CoreWidth(10.0 * mm, 1.0)] * 3, sizes, 0.06, (CardGuess(1.0, 10.6, 0.07),))
        assert got is not None and got.px_per_mm == pytest.approx(10.0, rel=0.02)
    alone = scale_of([CoreWidth(23.3, 1.0)] * 3, sizes, 0.06)
    assert alone is not None and alone.u95_rel > 0.2  # either size fits: the doubt stays


def test_a_stray_hardly_moves_the_scale() -> None:
    good = [CoreWidth(27.8, 1.0), CoreWidth(28.0, 1.0), CoreWidth(27.5, 1.0)]
    got = scale_of([*good, CoreWidth(14.0, 1.0)], [(2.78, 1.0)], 0.06)
    assert got is not None and got.px_per_mm == pytest.approx(10.0, rel=0.02)


def test_known_sizes_are_likelier_where_lighting_is_wired_in_them() -> None:
    sizes = core_sizes()
    assert sum(share for _, share in sizes) == pytest.approx(1.0)
    shares = dict(sizes)
    assert shares[2.78] > shares[3.38] > 0  # flat 1.5 before flat 2.5: common practice, no source


def _card(px_per_mm: float) -> CardSight:
    """A card that faces the camera, a metre and more away: depth hardly matters."""
    from audit.card.geometry import load_card
    from audit.card.types import MarkerSeen

    card, H = load_card(), np.diag([px_per_mm, px_per_mm, 1.0])
    markers = tuple(
        MarkerSeen(i, c * px_per_mm)
        for i, c in zip(card.marker_ids, card.marker_corners_mm, strict=True)
    )
    return CardSight(
        True,
        None,
        markers,
        card.outline_mm * px_per_mm,
        H,
        0.05,
        1500.0,
        1500.0,
        0.0,
        1500.0 * px_per_mm,
        True,
    )


def test_card_and_declared_cable_that_disagree_widen_the_doubt_and_say_so() -> None:
    rgb, strand = _core(27.8, 0.9, 205, False, 1.0)
    strands, settings = Strands(cores=(strand,) * 3), Settings()

    def scale(declared: str | None, px_per_mm: float) -> tuple[float, float, int]:
        s = work_scale(
            _card(px_per_mm), (120, 120), strands, 1.0, Declared(declared), settings, rgb
        )
        assert s.px_per_mm is not None and s.u95_rel is not None
        return s.px_per_mm, s.u95_rel, len(s.notes)

    agree = scale("1.5 T&E", 10.0)
    assert agree[0] == pytest.approx(10.0, rel=0.02) and agree[2] == 0
    wrong = scale("2.5 T&E", 10.0)
    assert wrong[0] == pytest.approx(10.0, rel=0.02) and wrong[2] == 1
    assert wrong[1] >= math.log(3.38 / 2.78) - 0.07
    # Far beyond any wrong declaration: what was measured is no core of that cable, the card stands.
    absurd = scale("1.5 T&E", 25.0)
    assert absurd[0] == pytest.approx(25.0, rel=0.02) and absurd[1] < 0.1


def _card_at(plane: float, facing: float, camera_mm: float) -> Scale:
    """What a card tells: scale in its plane, scale at its distance, and the camera's distance."""
    parts = {"corners": 0.002, "print": 0.002, "tilt": 0.0, "plane": 0.0, "depth": 0.1}
    return Scale(
        plane, 0.1, 0.0, 20.0, "card", parts, (plane, plane), (1.0, 0.0), camera_mm, facing
    )


def test_the_work_is_taken_to_lie_a_little_nearer_than_the_card() -> None:
    """By similar triangles: 6 mm nearer than a card 200 mm away looks 200 / 194 as large."""
    for way in card_ways(_card_at(8.0, 8.0, 200.0), 20.0):
        assert way.px_per_mm == pytest.approx(8.0 * 200 / 194)
    alone = card_alone(card_ways(_card_at(8.0, 8.0, 200.0), 20.0))
    assert alone is not None and alone.px_per_mm == pytest.approx(8.0 * 200 / 194, rel=1e-3)


def test_cores_tell_whether_the_card_lies_level_or_leans() -> None:
    ways = card_ways(_card_at(8.0, 10.0, 200.0), 20.0)
    level, leaning = (w.px_per_mm for w in ways)
    for at in (level, leaning):
        got = scale_of([CoreWidth(2.78 * at, 1.0)] * 3, [(2.78, 1.0)], 0.06, ways)
        assert got is not None and got.px_per_mm == pytest.approx(at, rel=0.03)


def test_a_card_off_the_work_gives_way_to_cores_more_than_one_nearly_level() -> None:
    """The density of a card is no single Gaussian, of which cores would take one share always."""
    ways = card_ways(_card_at(10.0, 10.0, 200.0), 20.0)

    def moved(by: float) -> float:
        cores = [CoreWidth(2.78 * ways[0].px_per_mm * by, 1.0)] * 3
        got = scale_of(cores, [(2.78, 1.0)], 0.06, ways)
        assert got is not None
        return math.log(got.px_per_mm / ways[0].px_per_mm) / math.log(by)

    assert moved(1.15) > moved(1.03) + 0.2


@pytest.mark.parametrize("cores", [0, 3])
def test_stated_doubt_holds_where_cards_lie_as_they_are_taken_to(cores: int) -> None:
    """Coverage by simulation (JCGM 101:2008, 7.9.4 asks it of a stated interval): 90 to 99 %."""
    rng, held = np.random.default_rng(5), 0
    for _ in range(300):
        camera = float(rng.uniform(120, 300))
        card = _card_at(8.0, 8.0 * float(np.exp(rng.normal(0, 0.05))), camera)
        ways = card_ways(card, 20.0)
        way = ways[int(rng.random() > ways[0].share)]
        true = way.px_per_mm * float(np.exp(rng.normal(0, way.sigma_rel)))
        maker = float(np.exp(rng.normal(0, 0.03)))
        widths = [
            CoreWidth(2.78 * maker * true * float(np.exp(rng.normal(0, 0.05))), 1.0)
            for _ in range(cores)
        ]
        got = scale_of(widths, [(2.78, 1.0)], 0.06, ways) if cores else card_alone(ways)
        assert got is not None
        held += abs(got.px_per_mm / true - 1) <= got.u95_rel
    assert 0.90 <= held / 300 <= 0.99
