"""Which finding answers which truth item: one to one, by place in the picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from audit.bench.truth import TruthItem
from audit.measure.boxes import SAME_IOU, SAME_MM, box_iou, centre_distance
from audit.measure.contract import FindingRecord

_NEVER = 1e6
PHOTO = "photo"


@dataclass(frozen=True)
class Pair:
    """A truth item with its finding; one of the two may be missing, never both."""

    item: TruthItem | None
    finding: FindingRecord | None


def _cost(item: TruthItem, finding: FindingRecord, px_per_mm: float) -> float:
    """Cost of a pair, below 1 when admissible; overlap counts first, then nearness."""
    if item.of == PHOTO or finding.of == PHOTO:
        # Asked of the whole photo: there is one such thing, so its place says nothing.
        return 0.0 if item.of == finding.of else _NEVER
    if item.box_px is None or finding.box_px is None:
        return _NEVER
    iou = box_iou(item.box_px, finding.box_px)
    away = centre_distance(item.box_px, finding.box_px) / px_per_mm
    if iou < SAME_IOU and away > SAME_MM:
        return _NEVER
    return 1.0 - iou + 0.001 * min(away, 100.0)


def match_photo(
    items: Sequence[TruthItem], findings: Sequence[FindingRecord], px_per_mm: float
) -> list[Pair]:
    """Match the findings of one photo with its truth items.

    A pair is admissible when both are of the same check and their boxes
    overlap with IoU >= 0.3 or have centres within 3 mm of each other (items
    and findings of the whole photo: when both are). Among all one-to-one
    matchings the one with most pairs, then the least summed cost, is taken.

    Parameters
    ----------
    items : sequence of TruthItem
    findings : sequence of FindingRecord
    px_per_mm : float
        True scale at the work.

    Returns
    -------
    list of Pair
        Every item and every finding exactly once.

    References
    ----------
    scipy.optimize.linear_sum_assignment (Crouse, IEEE Transactions on
    Aerospace and Electronic Systems 52 (2016), 1679-1696).
    """
    pairs: list[Pair] = []
    for check in sorted({i.check for i in items} | {f.check for f in findings}):
        asked = [i for i in items if i.check == check]
        said = [f for f in findings if f.check == check]
        pairs += _match_check(asked, said, px_per_mm)
    return pairs


def _match_check(
    items: list[TruthItem], findings: list[FindingRecord], px_per_mm: float
) -> Iterable[Pair]:
    cost = np.array([[_cost(i, f, px_per_mm) for f in findings] for i in items])
    cost = cost.reshape(len(items), len(findings))
    free_items, free_findings = set(range(len(items))), set(range(len(findings)))
    for row, col in zip(*linear_sum_assignment(cost), strict=True):
        if cost[row, col] < _NEVER:
            free_items.discard(row)
            free_findings.discard(col)
            yield Pair(items[row], findings[col])
    yield from (Pair(items[i], None) for i in sorted(free_items))
    yield from (Pair(None, findings[j]) for j in sorted(free_findings))
