"""Answers about copper between two pieces of a core's insulation (`audit.sight.laid_bare`)."""

from __future__ import annotations

from collections.abc import Sequence

from audit.measure.boxes import SAME_IOU, box_iou, box_round
from audit.measure.contract import COPPER_CHECK, Box, FindingRecord
from audit.sight.laid_bare import BarePiece

PLAIN_SHARE, OTHER_SHARE = 0.9, 0.03
"""Scores of plain pieces and of the others. On the photos of docs/adr/0021 all 7 plain ones were bare; of the others 7 of 24 where every photo shows such
damage, and none of 27 on photos of other work."""
_PLAIN = "bare copper is seen along this core, with its insulation before and behind: it is missing or damaged there"
_OTHER = (
    "this place looks like copper along a core, with insulation before and behind: see for yourself"
)


def bare_findings(
    pieces: Sequence[BarePiece], told: Sequence[FindingRecord], full: float, size: tuple[int, int]
) -> list[FindingRecord]:
    """Bare pieces of cores of which nothing is said yet: plain ones flagged, the others in doubt.

    No length is told: how far copper shows along a core is no question of a limit. What is in doubt where a plain piece lies stays:
    it may be of the core's end.

    Parameters
    ----------
    pieces : sequence of BarePiece
    told : sequence of FindingRecord
        What is said already.
    full : float
        px of the full photo for one px of the analysis picture.
    size : (width, height)
        Of the full photo, px.

    Returns
    -------
    list of FindingRecord
        Of `b1`, `b2` and so on, by the pieces' numbers.
    """
    found = []
    for n, piece in enumerate(pieces, 1):
        box = box_round(piece.path, piece.width / 2, full, size)
        enough = ("flag",) if piece.plain else ("flag", "unsure")
        if not any(f.state in enough and _is_there(f, box) for f in told):
            found.append(_finding(f"b{n}", box, piece))
    return found


def _is_there(finding: FindingRecord, box: Box) -> bool:
    """Whether an answer is of this very place: a neighbouring core is no farther off than `same_place` allows."""
    other = finding.box_px
    if finding.check != COPPER_CHECK or other is None:
        return False
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    inside = other[0] <= x <= other[2] and other[1] <= y <= other[3]
    return inside or box_iou(box, other) >= SAME_IOU


def _finding(of: str, box: Box, piece: BarePiece) -> FindingRecord:
    return FindingRecord(
        check=COPPER_CHECK, of=of, state="flag" if piece.plain else "unsure", box_px=box,
        score=PLAIN_SHARE if piece.plain else OTHER_SHARE, why=_PLAIN if piece.plain else _OTHER,
    )  # fmt: skip
