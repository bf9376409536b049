from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from audit.card.find import find_card
from audit.card.label import clean_label
from audit.card.markers import find_markers
from audit.card.types import CardSight
from audit.photo.types import Photo
from tests.card.scenes import CARD, PPM, Face, Shot, face, shoot, stretch

MIDDLE = (42.8, 27.0)


def _scale_error(sight: CardSight, shot: Shot) -> float:
    assert sight.mm_to_px is not None
    return stretch(sight.mm_to_px, MIDDLE) / stretch(shot.mm_to_px, MIDDLE) - 1.0


@pytest.mark.parametrize("seed", range(10))
def test_found_at_any_turn_and_tilt_with_corners_in_their_places(seed: int) -> None:
    shot = shoot(seed, face())
    sight = find_card(shot.photo)
    assert sight.found and sight.lost_at is None
    assert [m.id for m in sight.markers] == [0, 1, 2, 3]
    assert sight.corners_px is not None and sight.tilt_deg is not None
    # Half a px: also holds the convention that a px's centre lies at .5.
    np.testing.assert_allclose(sight.corners_px, shot.corners, atol=0.4)
    assert abs(_scale_error(sight, shot)) < 0.002
    assert abs(sight.tilt_deg - shot.tilt_deg) < 6.0


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("dark", {"light": (0.10, 0.09, 0.07)}),
        ("bright", {"light": (1.3, 1.3, 1.3)}),
        ("blurred", {"blur": 2.5, "distance": (180, 260), "tilt": (0, 40)}),
        ("small", {"distance": (420, 440), "size": (1200, 900), "tilt": (0, 20)}),
        ("noisy", {"noise": 8.0, "distance": (200, 300)}),
    ],
)
def test_hard_light_blur_and_size(name: str, options: dict[str, object]) -> None:
    found = []
    for seed in range(4):
        shot = shoot(100 + seed, face(), **options)  # type: ignore[arg-type]
        sight = find_card(shot.photo)
        found.append(sight.found)
        if sight.found:
            assert abs(_scale_error(sight, shot)) < 0.02, name
    assert sum(found) >= 3, name


def _filtered(shot: Shot, kernel: np.ndarray) -> Photo:
    return Photo.from_array(cv2.filter2D(shot.photo.rgb, -1, kernel / kernel.sum()))


def _disc(radius: int) -> np.ndarray:
    y, x = np.mgrid[-radius : radius + 1, -radius : radius + 1]
    return (np.hypot(x, y) <= radius + 0.3).astype(np.float64)


def _streak(length: int, angle: float) -> np.ndarray:
    kernel = np.zeros((2 * length + 1, 2 * length + 1))
    for t in np.linspace(-length / 2, length / 2, 8 * length):
        kernel[round(length + t * np.sin(angle)), round(length + t * np.cos(angle))] += 1
    return kernel


def test_a_card_out_of_focus_shaken_or_blown_out_is_mostly_found_and_says_so() -> None:
    """Photos too poor to judge still tell their fitting and rough scale, never a wrong scale."""
    near = {"distance": (180, 240), "tilt": (0, 30), "noise": 0.6}
    found = 0
    for seed in range(4):
        shot = shoot(200 + seed, face(), **near)  # type: ignore[arg-type]
        bright = (255.0 * np.clip(0.93 + shot.photo.rgb / 255.0 * 0.09, 0, 1)).astype(np.uint8)
        poor = (
            _filtered(shot, _disc(8)),
            _filtered(shot, _streak(14, 0.5 + seed)),
            Photo.from_array(bright),
        )
        for photo in poor:
            sight = find_card(photo)
            if sight.found:
                found += 1
                assert abs(_scale_error(sight, shot)) < 0.04
                if not find_markers(cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)):
                    assert any("undoing" in n or "stretching" in n for n in sight.notes)
    assert found >= 10


def test_no_card_is_imagined_in_a_blurred_picture_without_one() -> None:
    for seed in range(4):
        shot = shoot(300 + seed, face(markers=(2,)))
        assert not find_card(_filtered(shot, _disc(8))).found


def test_markers_of_eighteen_px_are_found() -> None:
    shot = shoot(7, face(), distance=(500, 500), size=(1200, 900), tilt=(0, 10), f35=27)
    side = 12 * stretch(shot.mm_to_px, MIDDLE)
    small = cv2.resize(shot.photo.rgb, None, fx=18.5 / side, fy=18.5 / side,
                       interpolation=cv2.INTER_AREA)  # fmt: skip
    sight = find_card(Photo.from_array(np.asarray(small)))
    assert sight.found
    shrunk = np.diag([18.5 / side, 18.5 / side, 1]) @ shot.mm_to_px
    assert sight.mm_to_px is not None
    assert stretch(sight.mm_to_px, MIDDLE) == pytest.approx(stretch(shrunk, MIDDLE), rel=0.02)


def test_a_twelve_megapixel_photo_is_refined_at_full_size() -> None:
    shot = shoot(3, face(), size=(4000, 3000), distance=(300, 500))
    sight = find_card(shot.photo)
    assert sight.found and sight.corners_px is not None
    np.testing.assert_allclose(sight.corners_px, shot.corners, atol=0.4)


@pytest.mark.parametrize("markers", [(0, 1), (1, 2), (2, 3), (0, 3), (0, 2), (1, 3), (0, 1, 2)])
def test_two_markers_are_enough(markers: tuple[int, ...]) -> None:
    for seed in (20,):
        shot = shoot(seed, face(markers=markers), distance=(180, 300))
        sight = find_card(shot.photo)
        assert sight.found and tuple(m.id for m in sight.markers) == markers
        assert abs(_scale_error(sight, shot)) < 0.01


def test_one_marker_and_none() -> None:
    for marker in range(4):
        sight = find_card(shoot(marker, face(markers=(marker,)), tilt=(0, 30)).photo)
        assert not sight.found and sight.lost_at == "one marker only"
        assert [m.id for m in sight.markers] == [marker]
        assert sight.mm_to_px is None and sight.corners_px is None
    for seed in range(3):
        sight = find_card(shoot(seed, face(markers=())).photo)
        assert not sight.found and sight.markers == ()
        assert sight.lost_at == "no marker candidates"


def test_part_of_the_card_covered() -> None:
    """A cable over the middle and a finger over one marker: markers 1 to 3 are left."""
    drawn = face()
    drawn[:, 30 * PPM : 40 * PPM] = (200, 60, 40)
    drawn[: 15 * PPM, : 14 * PPM] = (190, 140, 120)
    shot = shoot(5, drawn)
    sight = find_card(shot.photo)
    assert sight.found and [m.id for m in sight.markers] == [1, 2, 3]
    assert abs(_scale_error(sight, shot)) < 0.005


def test_a_mirrored_card_is_never_valid() -> None:
    for seed in range(4):
        sight = find_card(shoot(seed, np.ascontiguousarray(face()[:, ::-1])).photo)
        assert not sight.found


def _squeezed(share: float) -> Face:
    """The face squeezed sideways, as a screen or a careless print shows it."""
    drawn = face()
    height, width = drawn.shape[:2]
    M = np.array([[share, 0, (1 - share) * width / 2], [0, 1, 0.0]])
    return np.asarray(cv2.warpAffine(drawn, M, (width, height), borderValue=(250, 250, 250)))


def test_a_wrong_aspect_is_refused_where_perspective_shows_it() -> None:
    """A screen's wrong aspect looks like tilt: refused near and tilted, else within the doubt."""
    refused = 0
    for seed in range(6):
        shot = shoot(seed, _squeezed(0.8), tilt=(25, 55), distance=(160, 240))
        photo = replace(shot.photo, focal_35mm=27.0)
        sight = find_card(photo)
        refused += not sight.found
        if not sight.found:
            assert sight.lost_at == "looks like a picture of a card"
    assert refused >= 5


def test_a_displaced_marker_is_left_out_or_the_card_refused() -> None:
    drawn = face()
    x, y = (4 * PPM, 4 * PPM)
    marker = drawn[y : y + 12 * PPM, x : x + 12 * PPM].copy()
    drawn[y : y + 12 * PPM, x : x + 12 * PPM] = 250
    drawn[y + 48 : y + 48 + 12 * PPM, x : x + 12 * PPM] = marker  # 3 mm lower
    for seed in range(4):
        shot = shoot(seed, drawn)
        sight = find_card(shot.photo)
        if sight.found:
            assert 0 not in [m.id for m in sight.markers] and sight.notes
            assert abs(_scale_error(sight, shot)) < 0.005


def test_markers_of_the_wrong_size_are_refused() -> None:
    """Markers that do not keep their distances: each cut out and pasted at 80 % size."""
    drawn = face()
    for corners in CARD.marker_corners_mm:
        x, y = np.rint(corners[0] * PPM).astype(int)
        side, small = 12 * PPM, round(9.6 * PPM)
        cut = cv2.resize(drawn[y : y + side, x : x + side], (small, small))
        drawn[y : y + side, x : x + side] = 250
        start = (side - small) // 2
        drawn[y + start : y + start + small, x + start : x + start + small] = cut
    for seed in range(3):
        sight = find_card(shoot(seed, drawn).photo)
        assert not sight.found
        assert sight.lost_at in ("scale inconsistent", "pose does not fit")


def test_markers_exchanged_are_refused() -> None:
    drawn = face()
    a, b = drawn[64:256, 64:256].copy(), np.s_[64:256, round(69.6 * PPM) : round(69.6 * PPM) + 192]
    drawn[64:256, 64:256] = drawn[b]
    drawn[b] = a
    for seed in range(4):
        sight = find_card(shoot(seed, drawn).photo)
        # 2 and 3 still stand rightly and may carry the card; never 0 or 1.
        assert not {0, 1} & {m.id for m in sight.markers} or not sight.found


@pytest.mark.parametrize("label", ["F01", "Bathroom 2 / D3", "x" * 64])
def test_the_label_is_read(label: str) -> None:
    shot = shoot(2, face(label), distance=(170, 210), tilt=(0, 35), size=(1600, 1200))
    assert find_card(shot.photo).label == label


def test_no_code_no_label() -> None:
    assert find_card(shoot(2, face()).photo).label is None


def test_what_may_be_a_label() -> None:
    assert clean_label("  F01\n") == "F01"
    assert clean_label("e\u0301") == "\u00e9"
    for bad in ("", "   ", "x" * 65, "a\x1b[31mb", "a\nb", "a\u202eb"):
        assert clean_label(bad) is None


def test_turned_upright_or_not_the_card_reads_the_same() -> None:
    shot = shoot(9, face("F07"), distance=(170, 220), tilt=(0, 30), size=(1600, 1200))
    for turns in range(4):
        turned = np.ascontiguousarray(np.rot90(shot.photo.rgb, turns))
        sight = find_card(Photo.from_array(turned))
        assert sight.found and sight.label == "F07"
        assert abs(_scale_error(sight, shot)) < 0.005


def test_a_card_half_in_a_hard_shadow_is_found() -> None:
    """The shadow's edge runs through two markers, and the other two are left out."""
    for seed in range(4):
        shot = shoot(600 + seed, face(markers=(2, 3)), tilt=(0, 25), distance=(180, 220))
        y, x = np.mgrid[0:900, 0:1200] + 0.5
        back = cv2.perspectiveTransform(
            np.stack([x, y], -1).reshape(1, -1, 2), np.linalg.inv(shot.mm_to_px)
        )
        lower = back[0, :, 1].reshape(900, 1200) > 41.0 + 0.04 * back[0, :, 0].reshape(900, 1200)
        light = np.where(lower, 0.07, 1.0)[..., None]  # linear: a flash's shadow
        dark = 255 * ((shot.photo.rgb / 255.0) ** 2.2 * light) ** (1 / 2.2)
        sight = find_card(Photo.from_array(dark.round().astype(np.uint8)))
        assert sight.found
        assert abs(_scale_error(sight, shot)) < 0.02
