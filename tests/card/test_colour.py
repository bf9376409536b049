from __future__ import annotations

import cv2
import numpy as np
import pytest

from audit.card.colour import _terms, fit_colour
from audit.card.find import find_card
from audit.card.types import CardSight
from audit.photo.colour import decode_srgb, linear_to_srgb, srgb_to_linear
from audit.photo.types import Photo
from tests.card.scenes import CARD, PPM, face, shoot

PLAIN = {"tilt": (0, 25), "distance": (200, 260), "light": (1.0, 1.0, 1.0), "noise": 1.0}


def _lit(photo: Photo, light: tuple[float, float, float]) -> Photo:
    """The photo under other light: each channel scaled in linear light."""
    return Photo.from_array(linear_to_srgb(srgb_to_linear(photo.rgb) * np.array(light)))


@pytest.mark.parametrize("light", [(1, 1, 1), (1.0, 0.7, 0.35), (0.4, 0.5, 0.6), (0.2, 0.15, 0.1)])
def test_gains_undo_the_light(light: tuple[float, float, float]) -> None:
    photo = _lit(shoot(11, face(), **PLAIN).photo, light)  # type: ignore[arg-type]
    fit = fit_colour(photo, find_card(photo))
    assert fit.method == "gains"
    expected = light[1] / np.array(light)
    np.testing.assert_allclose(fit.gains, expected, rtol=0.06)
    assert fit.exposure == pytest.approx(1 / light[1], rel=0.06)
    assert fit.tone_ok and fit.plausible and fit.confidence > 0.8


def test_covered_and_glaring_greys_are_left_out() -> None:
    drawn = face()
    drawn[18 * PPM : 27 * PPM, 34 * PPM : 43 * PPM] = (180, 60, 40)  # a red cable over the third
    drawn[20 * PPM : 25 * PPM, 51 * PPM : 56 * PPM] = 255  # glare on the fifth
    photo = _lit(shoot(12, drawn, **PLAIN).photo, (0.9, 0.7, 0.5))  # type: ignore[arg-type]
    fit = fit_colour(photo, find_card(photo))
    unused = {p.patch.name for p in fit.patches if p.why_not and p.patch.neutral}
    assert {"grey", "dark grey"} <= unused
    np.testing.assert_allclose(fit.gains, [7 / 9, 1, 7 / 5], rtol=0.06)


def test_a_card_all_covered_gives_nothing_and_changes_nothing() -> None:
    drawn = face()
    drawn[18 * PPM : 37 * PPM, 20 * PPM : 66 * PPM] = 0
    photo = shoot(13, drawn, **PLAIN).photo  # type: ignore[arg-type]
    for sight in (find_card(photo), CardSight(False, "one marker only")):
        fit = fit_colour(photo, sight)
        assert fit.method == "none" and fit.confidence == 0.0
        np.testing.assert_array_equal(fit.apply([[0.1, 0.2, 0.3]]), [[0.1, 0.2, 0.3]])


def test_coloured_patches_that_are_not_the_cards_are_noticed() -> None:
    drawn = face()
    for patch in CARD.patches[6:]:
        x0, y0, x1, y1 = (round(v * PPM) for v in patch.box_mm)
        drawn[y0:y1, x0:x1] = drawn[y0:y1, x0:x1][..., ::-1]  # red and blue exchanged
    photo = shoot(14, drawn, **PLAIN).photo  # type: ignore[arg-type]
    assert not fit_colour(photo, find_card(photo)).plausible


def test_a_full_fit_only_for_a_measured_card() -> None:
    """A camera that mixes its channels: the full fit mends what gains can't."""
    mix = np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.05, 0.2, 0.75]])
    photo = shoot(15, face(), **PLAIN).photo  # type: ignore[arg-type]
    mixed = Photo.from_array(linear_to_srgb(srgb_to_linear(photo.rgb) @ mix.T))
    sight = find_card(mixed)
    plain, full = fit_colour(mixed, sight), fit_colour(mixed, sight, measured=True)
    assert plain.method == "gains" and full.method == "root-polynomial"
    assert full.delta_e is not None and plain.delta_e is not None
    assert full.delta_e < 1.5 < plain.delta_e
    # Root-polynomials keep their colours when the light changes in strength (Finlayson 2015).
    some = np.random.default_rng(0).random((5, 3))
    np.testing.assert_allclose(full.apply(0.3 * some), 0.3 * full.apply(some), rtol=1e-9)


@pytest.mark.filterwarnings("ignore")
def test_root_polynomial_terms_against_colour_science() -> None:
    characterisation = pytest.importorskip("colour.characterisation")
    rgb = np.random.default_rng(1).random((9, 3))
    expected = characterisation.polynomial_expansion(
        rgb, "Finlayson 2015", degree=2, root_polynomial_expansion=True
    )
    np.testing.assert_allclose(_terms(rgb, 6), expected, atol=1e-9)


def test_tone_slope_is_measured() -> None:
    photo = shoot(16, face(), **PLAIN).photo  # type: ignore[arg-type]
    linear = decode_srgb(photo.rgb / 255.0)
    for slope in (0.7, 1.3):
        curved = Photo.from_array(linear_to_srgb(linear**slope))
        fit = fit_colour(curved, find_card(curved))
        assert fit.tone_slope == pytest.approx(slope, abs=0.12)


def test_sampling_keeps_clear_of_the_borders() -> None:
    """Blurred by 1 mm on the card, the middle of each patch still has its own colour."""
    drawn = np.asarray(cv2.GaussianBlur(face(), (0, 0), 0.4 * PPM))
    sharp = face()
    for corners in CARD.marker_corners_mm:  # markers stay readable
        (x0, y0), (x1, y1) = np.rint(corners[[0, 2]] * PPM).astype(int)
        drawn[y0 - 32 : y1 + 32, x0 - 32 : x1 + 32] = sharp[y0 - 32 : y1 + 32, x0 - 32 : x1 + 32]
    photo = shoot(17, drawn, **PLAIN).photo  # type: ignore[arg-type]
    fit = fit_colour(photo, find_card(photo))
    for seen in fit.patches[:6]:
        nominal = decode_srgb(np.array(seen.patch.srgb) / 255.0)
        np.testing.assert_allclose(seen.linear, nominal, rtol=0.06, atol=0.004)
