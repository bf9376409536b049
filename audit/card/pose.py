"""Whether what was seen can be the card: one plane, right size, right shape.

Marker corners must fit one homography (flat card), and that homography must
be one that a camera with square pixels gives of a card of this shape (rigid
pose). A card shown on a screen or printed with a wrong aspect fits a
homography as well as a true one; only the pose tells, and only where
perspective shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from audit.card.geometry import load_card
from audit.card.markers import Marker

Points = NDArray[np.float64]
FULL_FRAME_DIAGONAL_MM = 43.267
"""Diagonal of the 36 x 24 mm frame that 35 mm equivalent focal lengths refer to."""
FOCALS_35MM = (13.0, 18.0, 23.0, 26.0, 30.0, 36.0, 44.0, 54.0, 68.0, 85.0)
"""Phone cameras, from ultra-wide to tele, tried where Exif does not say."""
_TRIAL_PX = 0.7
_SHIFT_PX, _SHIFT_REL = 1.0, 0.03
"""Largest shift that `even_out` allows: px, and share of a marker's side."""
USUAL_35MM, _USUAL_SD = 28.0, 0.35
"""Where Exif is silent: phones' main cameras are of 23 to 28 mm and near things are taken with some
zoom; two standard deviations (of the logarithm) reach from ultra-wide to twice the zoom. Common
practice, no source."""
_CORNER_PX = 0.15
_EXIF_LOW, _EXIF_HIGH = 0.88, 1.12
"""How far Exif's focal length may be off: rounded, by width or by diagonal, stabilised."""


@dataclass(frozen=True, eq=False)
class Pose:
    """A card's place before the camera.

    Parameters
    ----------
    focal_px : float
        Focal length the pose was found with.
    rotation : numpy.ndarray
        (3, 3), card to camera.
    shift_mm : numpy.ndarray
        (3,), the card's origin in the camera's frame.
    residual_px : float
        Root mean square distance of corners from where the pose puts them.
    """

    focal_px: float
    rotation: Points
    shift_mm: Points
    residual_px: float

    @property
    def tilt_deg(self) -> float:
        """Angle between the card's normal and the line of sight to its middle."""
        card = load_card()
        middle = (
            self.rotation @ np.array([card.width_mm / 2, card.height_mm / 2, 0]) + self.shift_mm
        )
        cosine = abs(float(self.rotation[:, 2] @ middle)) / float(np.linalg.norm(middle))
        return float(np.degrees(np.arccos(min(1.0, cosine))))


def correspondences(markers: list[Marker]) -> tuple[Points, Points]:
    """Corners in card mm (n, 2) and in px (n, 2) of the markers seen."""
    card = load_card()
    place = dict(zip(card.marker_ids, card.marker_corners_mm, strict=True))
    mm = np.concatenate([place[m.id] for m in markers])
    px = np.concatenate([m.corners for m in markers])
    return mm, px


def fit_homography(markers: list[Marker]) -> tuple[Points, Points] | None:
    """Least-squares homography (3, 3) from card mm to px and each corner's residual (n,) in px.

    None when there is none, or when it would show the card's back.
    """
    mm, px = correspondences(markers)
    H, _ = cv2.findHomography(mm, px, 0)
    if H is None or not np.isfinite(H).all():
        return None
    outline = load_card().outline_mm
    depth = outline @ H[2, :2] + H[2, 2]
    if np.any(depth * depth[0] <= 0):
        return None  # part of the card would lie behind the camera
    seen = cv2.perspectiveTransform(outline[None], H)[0]
    if cv2.contourArea(seen.astype(np.float32), oriented=True) <= 0:
        return None  # mirrored: no camera sees a printed face so
    back = cv2.perspectiveTransform(mm[None], H)[0]
    return np.asarray(H, dtype=np.float64), np.linalg.norm(back - px, axis=1)


def offset_quad(corners: Points, by: float) -> Points:
    """Move each side of a clockwise four-sided figure outwards by `by` px; (4, 2) to (4, 2)."""
    along = np.roll(corners, -1, axis=0) - corners
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    before = np.roll(along, 1, axis=0)
    # At each corner: the shift whose part along either side's outward normal is `by`.
    sine = before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0]
    safe = np.where(np.abs(sine) < 0.05, np.inf, sine)
    return np.asarray(corners + by * (before - along) / safe[:, None])


def even_out(markers: list[Marker]) -> tuple[list[Marker], float]:
    """Take out what makes all markers look larger or smaller by the same few tenths of a px.

    Blur, glare and ink that spreads move all sides of a dark square on white
    the same way, and leave its middle where it is. The shift that makes the markers agree best with
    their distances is found by a parabola through three trials.

    Returns
    -------
    markers : list of Marker
    shift : float
        px that every side was moved outwards.
    """
    trials = np.array([-_TRIAL_PX, 0.0, _TRIAL_PX])
    sums = []
    for by in trials:
        fitted = fit_homography([Marker(m.id, offset_quad(m.corners, by)) for m in markers])
        if fitted is None:
            return markers, 0.0
        sums.append(float((fitted[1] ** 2).sum()))
    a, b, _ = np.polyfit(trials, sums, 2)
    if a <= 0:
        return markers, 0.0
    smallest = min(m.side_px for m in markers)
    limit = max(_SHIFT_PX, _SHIFT_REL * smallest)
    shift = float(np.clip(-b / (2 * a), -limit, limit))
    return [Marker(m.id, offset_quad(m.corners, shift)) for m in markers], shift


def focal_px_of(focal_35mm: float, shape: tuple[int, ...]) -> float:
    """Focal length in px from the 35 mm equivalent, by the picture's diagonal."""
    return focal_35mm / FULL_FRAME_DIAGONAL_MM * float(np.hypot(shape[0], shape[1]))


def fit_pose(markers: list[Marker], shape: tuple[int, ...], focal_px: float) -> Pose | None:
    """Rigid pose of the card for one focal length (IPPE, then least squares), or None.

    The principal point is taken to be the picture's middle, pixels to be
    square and the lens free of distortion, as phones deliver their pictures.
    """
    mm, px = correspondences(markers)
    solid = np.column_stack([mm, np.zeros(len(mm))])
    cx, cy = (shape[1] - 1) / 2.0, (shape[0] - 1) / 2.0
    K = np.array([[focal_px, 0, cx], [0, focal_px, cy], [0, 0, 1.0]])
    try:
        _, turns, shifts, _ = cv2.solvePnPGeneric(solid, px, K, None, flags=cv2.SOLVEPNP_IPPE)
    except cv2.error:
        return None
    best: Pose | None = None
    for turn, shift in zip(turns, shifts, strict=True):
        turn, shift = cv2.solvePnPRefineLM(solid, px, K, None, turn, shift)
        back, _ = cv2.projectPoints(solid, turn, shift, K, None)
        off = back.reshape(-1, 2) - px
        rms = float(np.sqrt((off**2).sum(axis=1).mean()))
        R, _ = cv2.Rodrigues(turn)
        pose = Pose(focal_px, np.asarray(R), np.ravel(shift).astype(np.float64), rms)
        if pose.shift_mm[2] > 0 and np.isfinite(rms) and (best is None or rms < best.residual_px):
            best = pose
    return best


def _tried(focal_35mm: float | None, at_least_35mm: float | None) -> tuple[float, ...]:
    if focal_35mm is not None:
        return tuple(focal_35mm * k for k in (_EXIF_LOW, 1.0, _EXIF_HIGH))
    tried = tuple(f for f in FOCALS_35MM if f >= (at_least_35mm or 0.0))
    return tried or (at_least_35mm or FOCALS_35MM[-1],)


def best_pose(
    markers: list[Marker],
    shape: tuple[int, ...],
    focal_35mm: float | None,
    at_least_35mm: float | None = None,
) -> Pose | None:
    """The pose that fits best, and is not unusual, among the focal lengths that may be meant.

    Parameters
    ----------
    markers : list of Marker
        Two or more.
    shape : tuple of int
        Of the picture: height, width.
    focal_35mm : float or None
        From Exif; makers round it and take it by width or by diagonal, so that
        12 % either way is tried.
    at_least_35mm : float, optional
        Without `focal_35mm`, only longer focal lengths than this are tried.
    """
    tried = _tried(focal_35mm, at_least_35mm)

    def fit(log_focal: float) -> Pose | None:
        return fit_pose(markers, shape, focal_px_of(float(np.exp(log_focal)), shape))

    logs = np.log(tried)
    poses = [fit(x) for x in logs]
    there = [p.residual_px for p in poses if p is not None]
    if not there:
        return None
    noise = max(_CORNER_PX, min(there))
    usual = np.log(USUAL_35MM) if focal_35mm is None else np.log(focal_35mm)

    def misfit(log_focal: float, pose: Pose | None) -> float:
        """What the corners say against a focal length, and how unusual it is (both chi squared)."""
        if pose is None:
            return 1e9
        unusual = (log_focal - usual) / _USUAL_SD
        return 4 * len(markers) * (pose.residual_px / noise) ** 2 + float(unusual) ** 2

    k = int(np.argmin([misfit(x, p) for x, p in zip(logs, poses, strict=True)]))
    # Near and tilted cards tell the focal length well: settle it between its neighbours.
    low, high = logs[max(k - 1, 0)], logs[min(k + 1, len(logs) - 1)]
    best = minimize_scalar(
        lambda x: misfit(x, fit(x)), bounds=(low, high), method="bounded", options={"xatol": 0.01}
    )
    refined = fit(float(best.x))
    return refined if refined is not None and best.fun < misfit(logs[k], poses[k]) else poses[k]
