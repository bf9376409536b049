"""Find the site card in a photo, or say at which step it was lost."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.card.clearer import clearer_copies
from audit.card.geometry import load_card
from audit.card.label import read_label
from audit.card.markers import Marker, find_keenly, find_markers, find_missing, refine
from audit.card.pose import Pose, best_pose, even_out, fit_homography
from audit.card.types import CardSight, LostAt, MarkerSeen
from audit.photo.types import Photo

Points = NDArray[np.float64]
_ROUGH = 0.25
"""How far a marker may lie from where another pair puts it, as a share of its side, to count."""
_FLAT_PX, _FLAT_REL = 1.0, 0.03
"""Largest corner residual of one plane: px, and share of the marker's side (paper bends)."""
_RIGID_PX, _RIGID_REL = 0.25, 0.006
"""How much worse (root mean square) a rigid pose may fit than twice what flatness leaves, likewise:
room for a lens that distorts a little and a middle of the picture that is not quite the lens's."""
_MORE_COPIES = 4
"""Copies of a blurred photo searched from the first that shows the card: the next may show more."""
_SIZE_REL = 0.06
"""How far one marker's own size may differ from what the others say."""


def find_card(photo: Photo) -> CardSight:
    """Find the site card.

    Two markers in view are enough. What does not fit together is refused with
    the step at which it was lost, since a wrong scale would make every length
    wrong.

    Parameters
    ----------
    photo : audit.photo.types.Photo

    Returns
    -------
    CardSight
    """
    grey = np.asarray(cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY))
    sight = _search(grey, find_markers(grey), photo.focal_35mm)
    if sight.found:
        return sight
    if sight.lost_at in ("looks like a picture of a card", "scale inconsistent"):
        return sight  # seen well enough to be refused: no coarser copy may let it pass
    return _in_copies(photo, sight) or sight


def _in_copies(photo: Photo, sight: CardSight) -> CardSight | None:
    """The card found in a clearer copy; of blurred photos, in the one that shows it best."""
    best: CardSight | None = None
    left = _MORE_COPIES
    for copy in clearer_copies(photo.rgb, sight.markers):
        again = _search(copy.grey, find_keenly(copy.grey), photo.focal_35mm, copy.slack)
        if again.found:
            again = _enlarged(again, 1.0 / copy.factor, copy.note)
            if copy.slack == 1.0:
                return again
            best = again if best is None or _clearer(again, best) else best
        if best is not None:
            left -= 1
            if len(best.markers) == 4 or left == 0:
                break
    return best


def _clearer(one: CardSight, other: CardSight) -> bool:
    if len(one.markers) != len(other.markers):
        return len(one.markers) > len(other.markers)
    return (one.residual_px or 0.0) < (other.residual_px or 0.0)


def _search(
    grey: NDArray[np.uint8],
    candidates: list[Marker],
    focal_35mm: float | None,
    slack: float = 1.0,
) -> CardSight:
    """Make a card of marker candidates, or say at which step it was lost."""
    if not candidates:
        return CardSight(False, "no marker candidates")
    sharp = [r for m in candidates if (r := refine(grey, m)) is not None]
    if slack > 1.0 and len(sharp) < 2:
        sharp = candidates  # the filter's ripples hide the sides
    if not sharp:  # chance hits have no straight dark border on white
        return CardSight(False, "no marker candidates")
    if len({m.id for m in sharp}) < 2:
        return CardSight(False, "one marker only", _seen(sharp))
    group = _consistent(sharp, slack)
    if group is None:
        return CardSight(False, "pose does not fit", _seen(sharp))
    group = _complete(grey, group)
    notes: list[str] = []
    group, _ = even_out(_drop_damaged(even_out(group)[0], notes, slack))
    if _others(sharp, group):
        notes.append("markers of another card, or a damaged one, are in the picture too")
    return _judge(grey, group, notes, focal_35mm, slack)


def _enlarged(sight: CardSight, by: float, note: str) -> CardSight:
    """A card found on a reduced copy, in px of the photo."""
    larger = np.diag([by, by, 1.0])
    assert sight.mm_to_px is not None and sight.corners_px is not None
    return replace(
        sight,
        markers=tuple(MarkerSeen(m.id, m.corners_px * by) for m in sight.markers),
        corners_px=sight.corners_px * by,
        mm_to_px=larger @ sight.mm_to_px,
        residual_px=None if sight.residual_px is None else sight.residual_px * by,
        focal_px=None if sight.focal_px is None else sight.focal_px * by,
        notes=(*sight.notes, note),
    )


def _judge(
    grey: NDArray[np.uint8],
    group: list[Marker],
    notes: list[str],
    focal_35mm: float | None,
    slack: float,
) -> CardSight:
    """Check flatness, sizes and shape, and read the label."""
    fitted = fit_homography(group)
    side = float(np.median([m.side_px for m in group]))
    if fitted is None or fitted[1].max() > slack * max(_FLAT_PX, _FLAT_REL * side):
        return _lost("pose does not fit", group, notes)
    H, residuals = fitted
    if _size_differs(group, H, slack):
        return _lost("scale inconsistent", group, notes)
    rms = float(np.sqrt((residuals**2).mean()))
    limit = 2.0 * rms + slack * max(_RIGID_PX, _RIGID_REL * side)
    pose, known = best_pose(group, grey.shape, focal_35mm), focal_35mm is not None
    if known and (pose is None or pose.residual_px > limit):
        # A picture cropped after it was taken looks like one of a longer lens than Exif says.
        pose, known = best_pose(group, grey.shape, None, focal_35mm), False
        notes.append("the focal length in Exif does not fit what is seen of the card")
    if pose is None or pose.residual_px > limit:
        return _lost("looks like a picture of a card", group, notes)
    half = np.array([[1.0, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    mm_to_px = half @ H
    mm_to_px /= mm_to_px[2, 2]
    outline = cv2.perspectiveTransform(load_card().outline_mm[None], mm_to_px)[0]
    return CardSight(
        found=True,
        markers=_seen(group),
        corners_px=np.asarray(outline),
        mm_to_px=mm_to_px,
        residual_px=rms,
        distance_mm=float(np.linalg.norm(_middle(pose))),
        depth_mm=float(_middle(pose)[2]),
        tilt_deg=pose.tilt_deg,
        focal_px=pose.focal_px,
        focal_known=known,
        label=read_label(grey, H),
        notes=tuple(notes),
    )


def _middle(pose: Pose) -> Points:
    """The card's middle in the camera's frame, mm."""
    card = load_card()
    middle = np.array([card.width_mm / 2, card.height_mm / 2, 0.0])
    return np.asarray(pose.rotation @ middle + pose.shift_mm)


def _seen(markers: list[Marker]) -> tuple[MarkerSeen, ...]:
    order = sorted(markers, key=lambda m: m.id)
    return tuple(MarkerSeen(m.id, m.corners + 0.5) for m in order)


def _lost(step: LostAt, group: list[Marker], notes: list[str]) -> CardSight:
    return CardSight(False, step, _seen(group), notes=tuple(notes))


def _others(all_seen: list[Marker], group: list[Marker]) -> bool:
    return any(
        all(np.linalg.norm(m.centre - g.centre) > 0.5 * g.side_px for g in group) for m in all_seen
    )


def _misfit(marker: Marker, H: Points) -> float:
    """Largest distance of a marker's corners from where `H` puts them, as a share of its side."""
    card = load_card()
    mm = card.marker_corners_mm[card.marker_ids.index(marker.id)]
    off = cv2.perspectiveTransform(mm[None], H)[0] - marker.corners
    return float(np.linalg.norm(off, axis=1).max()) / marker.side_px


def _consistent(markers: list[Marker], slack: float) -> list[Marker] | None:
    """The largest set that can be one card: every pair proposes, the rest agree or not."""
    best: list[Marker] | None = None
    for one, other in combinations(markers, 2):
        fitted = fit_homography([one, other]) if one.id != other.id else None
        if fitted is None:
            continue
        H, residuals = fitted
        if residuals.max() > slack * max(1.0, _ROUGH / 3 * min(one.side_px, other.side_px)):
            continue
        group = {one.id: one, other.id: other}
        for m in markers:
            if m.id not in group and _misfit(m, H) < _ROUGH:
                group[m.id] = m
        found = list(group.values())
        if best is None or _worth(found) > _worth(best):
            best = found
    return best


def _worth(group: list[Marker]) -> tuple[int, float]:
    return len(group), sum(m.side_px for m in group)


def _complete(grey: NDArray[np.uint8], group: list[Marker]) -> list[Marker]:
    """Add markers that the plain search missed."""
    if len(group) == 4:
        return group
    fitted = fit_homography(group)
    if fitted is None:
        return group
    new = [r for m in find_missing(grey, fitted[0], group) if (r := refine(grey, m)) is not None]
    return group + [m for m in new if _misfit(m, fitted[0]) < _ROUGH]


def _drop_damaged(group: list[Marker], notes: list[str], slack: float) -> list[Marker]:
    """Leave out the one marker that spoils an otherwise good fit (bent corner, smudge)."""
    fitted = fit_homography(group)
    side = float(np.median([m.side_px for m in group]))
    limit = slack * max(_FLAT_PX, _FLAT_REL * side)
    if len(group) < 4 or (fitted is not None and fitted[1].max() <= limit):
        return group
    options = []
    for k in range(len(group)):
        rest = group[:k] + group[k + 1 :]
        again = fit_homography(rest)
        if again is not None and again[1].max() <= limit:
            options.append((float(again[1].max()), k))
    if not options:
        return group
    k = min(options)[1]
    notes.append(f"marker {group[k].id} does not lie flat with the others and is left out")
    return group[:k] + group[k + 1 :]


def _size_differs(group: list[Marker], H: Points, slack: float) -> bool:
    """Whether a marker's own area differs from what the homography gives it."""
    card = load_card()
    for m in group:
        mm = card.marker_corners_mm[card.marker_ids.index(m.id)]
        expected = cv2.contourArea(cv2.perspectiveTransform(mm[None], H)[0].astype(np.float32))
        ratio = np.sqrt(cv2.contourArea(m.corners.astype(np.float32)) / max(expected, 1e-9))
        if abs(ratio - 1.0) > slack * max(_SIZE_REL, 1.0 / m.side_px):
            return True
    return False
