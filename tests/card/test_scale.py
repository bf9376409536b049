from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from audit.card.find import find_card
from audit.card.scale import card_scale, local_matrix
from audit.card.types import CardSight
from audit.settings import Settings
from tests.card.scenes import CARD, face, shoot, stretch


@pytest.mark.parametrize("seed", range(6))
def test_scale_at_places_on_and_beside_the_card(seed: int) -> None:
    shot = shoot(seed, face())
    sight = find_card(shot.photo)
    for mm in ((5.0, 5.0), (42.8, 27.0), (80.0, 70.0)):
        at = cv2.perspectiveTransform(np.array([[mm]]), shot.mm_to_px)[0, 0]
        scale = card_scale(sight, (float(at[0]), float(at[1])), shape=shot.photo.rgb.shape)
        assert scale is not None and scale.from_ == "card"
        true = stretch(shot.mm_to_px, mm)
        # Corners alone explain the error against the card's own plane.
        plane = float(np.mean(scale.stretch))
        assert abs(plane / true - 1) <= min(0.004, scale.parts["corners"])
        # The work lies in the card's plane, or as far away as the card's middle: both within U95.
        for facing in (shot.facing(mm), shot.facing((42.8, 27.0))):
            assert abs(scale.px_per_mm / facing - 1) <= scale.u95_rel
            assert (
                abs(scale.px_per_mm / facing - 1)
                <= scale.parts["plane"] + scale.parts["tilt"] + 0.01
            )
        assert scale.u95_rel == pytest.approx(np.sqrt(sum(v**2 for v in scale.parts.values())))


def test_derivative_against_finite_differences() -> None:
    H = np.array([[6.0, 1.0, 300], [-0.5, 5.0, 200], [1e-3, -2e-3, 1]])
    x, y, h = 30.0, 20.0, 1e-5
    mm = np.array([[[x, y], [x + h, y], [x, y + h]]])
    a, b, c = cv2.perspectiveTransform(mm, H)[0]
    numeric = np.column_stack([b - a, c - a]) / h
    np.testing.assert_allclose(local_matrix(H, (a[0], a[1])), numeric, rtol=1e-4)


def test_a_scale_along_a_direction() -> None:
    """A known length on the card, drawn at any angle, is measured by its own direction."""
    shot = shoot(4, face(), tilt=(45, 50))
    sight = find_card(shot.photo)
    for angle in np.linspace(0, np.pi, 7):
        ends = np.array([42.8, 27.0]) + np.array([[0, 0], [np.cos(angle), np.sin(angle)]])
        a, b = cv2.perspectiveTransform(ends[None], shot.mm_to_px)[0]
        scale = card_scale(sight, tuple((a + b) / 2), shape=shot.photo.rgb.shape)
        assert scale is not None
        length = float(np.hypot(*(b - a))) / scale.along(*(b - a))
        assert length == pytest.approx(1.0, rel=0.006)


def test_depth_follows_similar_triangles() -> None:
    """Work 25 mm behind a card 250 mm away is seen 25 / 275 smaller (pinhole camera)."""
    shot = shoot(1, face(), tilt=(0, 1), distance=(250, 250))
    sight = find_card(replace(shot.photo, focal_35mm=27.0))
    middle = tuple(shot.corners.mean(axis=0))
    scale = card_scale(sight, middle, Settings(depth_u95_mm=20))
    assert scale is not None and scale.camera_mm is not None
    assert scale.camera_mm == pytest.approx(shot.distance_mm, rel=0.15)
    assert scale.parts["depth"] == pytest.approx(20 / scale.camera_mm)
    behind = scale.at_depth(25.0, 2.0)
    ratio = scale.camera_mm / (scale.camera_mm + 25)
    assert behind.px_per_mm == pytest.approx(scale.px_per_mm * ratio)
    assert behind.u95_rel < scale.u95_rel
    with pytest.raises(ValueError, match="behind the camera"):
        scale.at_depth(-1000.0, 2.0)


def test_fewer_markers_and_greater_distance_mean_more_doubt() -> None:
    parts = {}
    for markers in ((0, 1, 2, 3), (0, 3)):
        shot = shoot(3, face(markers=markers), tilt=(0, 20), distance=(250, 260))
        sight = find_card(shot.photo)
        at = cv2.perspectiveTransform(np.array([[[120.0, 27.0]]]), shot.mm_to_px)[0, 0]
        scale = card_scale(sight, tuple(at), shape=shot.photo.rgb.shape)
        assert scale is not None
        parts[markers] = scale.parts["corners"]
    assert parts[(0, 3)] > 3 * parts[(0, 1, 2, 3)]


def test_no_card_no_scale_and_nothing_beyond_the_horizon() -> None:
    assert card_scale(CardSight(False, "no marker candidates"), (10, 10)) is None
    shot = shoot(4, face(), tilt=(50, 55))
    sight = find_card(shot.photo)
    assert sight.mm_to_px is not None
    # The plane's horizon is the image of the line at infinity: one side of it is not card plane.
    line = np.linalg.inv(sight.mm_to_px).T @ np.array([0, 0, 1.0])
    middle = shot.corners.mean(axis=0)
    normal = line[:2] / np.hypot(*line[:2])
    away = (line[:2] @ middle + line[2]) / np.hypot(*line[:2])
    beyond = middle - normal * (away + np.sign(away) * 50)
    assert card_scale(sight, (float(beyond[0]), float(beyond[1]))) is None


def test_geometry_is_the_card_of_the_standard() -> None:
    """ID-1: 85.60 x 53.98 mm (ISO/IEC 7810, read in a secondary text); drawn at 54.0."""
    assert CARD.width_mm == 85.6 and CARD.height_mm == pytest.approx(53.98, abs=0.03)
    assert CARD.marker_corners_mm.shape == (4, 4, 2)
    np.testing.assert_allclose(CARD.marker_corners_mm.mean(axis=1)[2], [75.6, 44.0])
    assert [p.neutral for p in CARD.patches] == [True] * 6 + [False] * 6
    assert CARD.patches[5].box_mm == (58.0, 18.5, 64.5, 26.0)
