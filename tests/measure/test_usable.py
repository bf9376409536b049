"""Poor photos: the limits, how they are fitted, and drawn photos on either side of them."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import cv2
import numpy as np
import pytest

from audit.measure.contract import ScaleFrom
from audit.measure.fit_limits import RULES, Known, fit_limit, written
from audit.measure.scale import WorkScale
from audit.measure.usable import NOTHING_SHOWN, Usability, judge
from audit.photo.types import Photo
from audit.resources import load_toml
from audit.settings import Settings
from audit.sight.types import Material, Readings, Strand, Strands, Tip

SCALE = WorkScale(8.0, 0.05, None, None, "card")


def _photo() -> np.ndarray:
    """Cores on a grey ground, with the texture that a floor has."""
    rng = np.random.default_rng(3)
    image = np.full((600, 800, 3), 120.0) + rng.normal(0, 4, (600, 800, 1))
    for k in range(6):
        at = (100 + 100 * k, 60), (180 + 90 * k, 540)
        cv2.line(image, *at, (40, 80, 180) if k % 2 else (110, 60, 30), 20, cv2.LINE_AA)
    cv2.rectangle(image, (20, 200), (780, 320), (190, 190, 185), -1)
    return np.clip(cv2.GaussianBlur(image, (0, 0), 0.8), 0, 255)


def _strands(length: float = 450.0) -> Strands:
    cores = []
    for k in range(6):
        t = np.linspace(0, 1, 50)[:, None]
        path = (1 - t) * [100 + 100 * k, 60.0] + t * [100 + 92 * k, 60.0 + length]
        cores.append(Strand(Material.BROWN, path, np.full(50, 20.0), 0.9))
    return Strands(cores=tuple(cores))


def _readings(evidence: np.ndarray | None = None) -> Readings:
    """One core's end, by a person's word unless there is evidence to weigh."""
    path = np.array([[100.0, 60.0], [100.0, 500.0]])
    end = Tip(
        0, -1, None, "brown", path, 20.0, path[-1:], 0.0, 1.0, "terminal", True, evidence=evidence
    )
    return Readings((), (end,))


def _judged(image: np.ndarray, strands: Strands, view: str | None = "inside") -> Usability:
    rng = np.random.default_rng(4)
    noisy = np.clip(image + rng.normal(0, 1.5, image.shape), 0, 255).astype(np.uint8)
    photo = Photo.from_array(noisy)
    return judge(photo, _readings(), strands, SCALE, 1.0, Settings(), view)


@pytest.mark.parametrize(
    ("width", "source", "view", "far"),
    [
        (6.0, "core", "inside", True),
        (9.0, "core", "inside", False),
        (6.0, "card", "inside", False),
        (6.0, "core", "closed", False),
        (6.0, "core", "face", False),
        (6.0, "none", None, True),
    ],
)
def test_cores_too_thin_to_tell_a_scale_from_are_too_far_away(
    width: float, source: ScaleFrom, view: str | None, far: bool
) -> None:
    """3 px per mm are wanted, and usual cores are 2.1 to 3.4 mm thick: 8 px or so."""
    thin = tuple(replace(s, width=np.full(50, width)) for s in _strands().cores)
    photo = Photo.from_array(_photo().astype(np.uint8))
    scale = WorkScale(5.0, 0.3, None, None, source)
    told = judge(photo, _readings(), Strands(cores=thin), scale, 1.0, Settings(), view)
    assert any("too far away" in reason for reason in told.reasons) == far


@pytest.mark.parametrize(
    ("told", "view", "shown"),
    [(0.2, "inside", False), (0.3, "inside", True), (0.2, "closed", True), (0.2, "back", True)],
)
def test_what_is_hardly_there_shows_no_cable(
    told: float, view: str, shown: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Long brown strands on a plank: the one end that was read of them most likely is none."""
    monkeypatch.setattr("audit.measure.usable.real_probability", lambda *_: told)
    photo = Photo.from_array(_photo().astype(np.uint8))
    end = _readings(np.zeros(3, np.float32))
    found = judge(photo, end, _strands(), SCALE, 1.0, Settings(), view)
    assert (NOTHING_SHOWN not in found.reasons) == shown


def _streak(length: int) -> np.ndarray:
    kernel = np.zeros((length, length))
    kernel[length // 2] = 1.0 / length
    return kernel


def test_a_sound_photo_is_usable() -> None:
    assert _judged(_photo(), _strands()).reasons == ()


def test_blur_is_seen_also_when_it_lies_in_one_direction_and_noise_covers_it() -> None:
    for image in (
        cv2.GaussianBlur(_photo(), (0, 0), 4.0),
        cv2.filter2D(_photo(), -1, _streak(17)),
        cv2.filter2D(_photo(), -1, _streak(17).T),
    ):
        noisy = image + np.random.default_rng(5).normal(0, 6.0, image.shape)
        for each in (image, noisy):
            reasons = _judged(each, _strands()).reasons
            assert len(reasons) == 1 and "not sharp" in reasons[0]


def test_flare_is_harm_and_a_blown_out_wall_behind_a_dark_box_is_none() -> None:
    image = _photo()
    y, x = np.mgrid[0:600, 0:800]
    spot = 900.0 * np.exp(-(((x - 420) ** 2 + (y - 300) ** 2) / (2 * 130.0**2)))
    reasons = _judged(np.clip(image + spot[..., None], 0, 255), _strands()).reasons
    assert any("glare" in r for r in reasons)
    wall = image.copy()
    wall[:, :90], wall[:, 720:] = 255, 255
    wall[:50], wall[550:] = 255, 255
    assert _judged(wall, _strands()).reasons == ()


def test_dark_and_empty_photos_are_refused_and_a_plate_needs_no_cable() -> None:
    assert any("dark" in r for r in _judged(_photo() * 0.03, _strands()).reasons)
    few = Strands(cores=_strands(60.0).cores[:1])
    assert any("no cable" in r for r in _judged(_photo(), few).reasons)
    assert _judged(_photo(), few, "plate").reasons == ()


def test_a_limit_lies_in_the_middle_of_the_gap_and_tells_what_lies_beside() -> None:
    rule = next(r for r in RULES if r.name == "blur_px")
    good = [Known(None, "inside", {"blur_px": v}) for v in (1.0, 2.0, 3.0)]
    bad = [Known("motion", "inside", {"blur_px": v}) for v in (12.0, 20.0)]
    other = [Known("dark", "inside", {"blur_px": 1.0})]
    found = fit_limit(rule, [*good, *bad, *other])
    assert found is not None
    assert found.value == pytest.approx(6.0)  # the geometric mean of 3 and 12
    assert (found.usable, found.poor) == (pytest.approx(3.0), pytest.approx(12.0))
    assert (found.usable_photos, found.poor_photos, found.wrong) == (3, 2, 0)
    overlap = fit_limit(rule, [*good, *bad, Known(None, "inside", {"blur_px": 14.0})])
    assert overlap is not None and overlap.wrong == 1
    assert fit_limit(rule, good) is None


def test_a_limit_below_which_harm_lies() -> None:
    rule = next(r for r in RULES if r.name == "dark_median")
    known = [Known(None, None, {"median_luminance": v}) for v in (0.04, 0.5)]
    known += [Known("dark", None, {"median_luminance": v}) for v in (0.01, 0.001)]
    found = fit_limit(rule, known)
    assert found is not None and found.value == pytest.approx(0.02) and found.wrong == 0


def test_the_file_written_holds_every_limit_that_is_asked_for() -> None:
    now = load_toml("photo_limits.toml")
    text = written({rule.name: None for rule in RULES}, ["here"], 3)
    assert tomllib.loads(text) == now
