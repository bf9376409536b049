"""The blind second look: some fittings are judged before the tool's states are shown."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from audit.checklist.models import Item
from audit.errors import Where
from audit.record.agreement import Agreement, cohen_kappa
from audit.record.canonical import sha256
from audit.record.decisions import item_of
from audit.record.entries import Draft
from audit.record.errors import DecisionError
from audit.record.evidence import JobEvidence
from audit.record.fold import Fold, Judgement
from audit.record.payloads import DrawData, JudgementData, check_name, checked
from audit.record.types import Judged

WORDS: Mapping[str, Judged] = {"flag": "fault", "clear": "no fault", "unsure": "can't tell"}
"""What the tool's state says in the words of a judgement; `missing` is not asked."""
JUDGED: tuple[Judged, ...] = ("fault", "no fault", "can't tell")


@dataclass(frozen=True)
class BlindState:
    """How far the blind look has come.

    Parameters
    ----------
    fittings : tuple of str
        Drawn, that the job still has.
    to_judge : mapping of str to tuple of str
        For each drawn fitting, items not yet judged.
    agreement : Agreement or None
        Between reviewer and tool over all judgements of items as they still are; None
        where there is none.
    seed : str or None
        Of the last draw.
    """

    fittings: tuple[str, ...]
    to_judge: Mapping[str, tuple[str, ...]]
    agreement: Agreement | None
    seed: str | None

    def hides(self, label: str) -> bool:
        """Whether a fitting's states must not be shown yet."""
        return bool(self.to_judge.get(label))


def draw(labels: Sequence[str], share: float, seed: str) -> tuple[str, ...]:
    """Draw a share of fittings, rounded up.

    The fittings with the lowest SHA-256 of ``seed:label`` are drawn, so that anybody
    can repeat the draw with any tool.

    Parameters
    ----------
    labels : sequence of str
    share : float
        0 to 1.
    seed : str

    Examples
    --------
    >>> len(draw([f"F{n:02d}" for n in range(12)], 0.1, "a seed"))
    2
    """
    count = min(len(labels), math.ceil(share * len(labels) - 1e-9))
    return tuple(sorted(labels, key=lambda label: sha256(f"{seed}:{label}".encode()))[:count])


def blind_items(job: JobEvidence, label: str) -> tuple[Item, ...]:
    """Items of a fitting that are judged blind: those that its photos answer."""
    return tuple(
        i
        for i in job.checklist.items
        if i.subject.kind == "fitting"
        and i.subject.id == label
        and i.from_photos
        and i.state in WORDS
    )


def draw_draft(
    fold: Fold, job: JobEvidence, share: float, by: str, key: str, seed: str | None
) -> Draft:
    """A draw ready to be appended; only fittings of which nothing was shown or decided.

    Raises
    ------
    DecisionError
        When the share is none.
    """
    check_name(by)
    if not 0 <= share <= 1:
        raise DecisionError("the share of fittings lies between 0 and 1")
    labels = [f.label for f in job.checklist.fittings if _unseen(fold, job, f.label)]
    seed = seed or max(fold.seen, key=lambda h: fold.seen[h])
    data = {
        "seed": seed,
        "share": float(share),
        "of": labels,
        "drawn": list(draw(labels, share, seed)),
        "method": "sha256(seed:label), lowest first",
    }
    checked(DrawData, data)
    return Draft("blind-draw", data, by, key)


def _unseen(fold: Fold, job: JobEvidence, label: str) -> bool:
    items = blind_items(job, label)
    return bool(items) and not any(
        fold.ever_decided(i.id) or fold.shown_to(i.id, job.digests[i.id]) for i in items
    )


def judge_draft(
    fold: Fold, job: JobEvidence, item: str, judged: Judged, by: str, key: str
) -> Draft:
    """A blind judgement ready to be appended; raises as `Record.judge_blind` says."""
    check_name(by)
    asked = item_of(job, item)
    label = asked.subject.id
    where = Where(None, None, item)
    if asked not in blind_items(job, label) or label not in drawn(fold):
        raise DecisionError("this item was not drawn for the blind look", where)
    digest = job.digests[item]
    if fold.ever_decided(item) or fold.shown_to(item, digest):
        raise DecisionError("the tool's state of this item was shown already", where)
    if any(j.item == item and j.item_digest == digest and j.by == by for j in fold.judgements):
        raise DecisionError("this item was judged already", where, "go on to the next")
    data = {"item": item, "item_digest": digest, "judged": judged, "tool_state": asked.state}
    checked(JudgementData, data)
    return Draft("blind-judgement", data, by, key)


def drawn(fold: Fold) -> tuple[str, ...]:
    """All fittings that were ever drawn."""
    return tuple(dict.fromkeys(label for d in fold.draws for label in d.drawn))


def state(fold: Fold, job: JobEvidence) -> BlindState:
    """How far the blind look has come."""
    there = {f.label for f in job.checklist.fittings}
    fittings = tuple(label for label in drawn(fold) if label in there)
    done = {(j.item, j.item_digest) for j in fold.judgements}
    to_judge = {
        label: tuple(
            i.id
            for i in blind_items(job, label)
            if (i.id, job.digests[i.id]) not in done and not fold.ever_decided(i.id)
        )
        for label in fittings
    }
    return BlindState(
        fittings=fittings,
        to_judge={k: v for k, v in to_judge.items() if v},
        agreement=_agreement(fold.judgements),
        seed=fold.draws[-1].seed if fold.draws else None,
    )


def _agreement(judgements: Sequence[Judgement]) -> Agreement | None:
    """Reviewer against tool, each item of one reviewer once (the first judgement)."""
    first: dict[tuple[str, str, str], tuple[str, str]] = {}
    for j in judgements:
        if j.tool_state in WORDS:
            first.setdefault((j.item, j.item_digest, j.by), (j.judged, WORDS[j.tool_state]))
    if not first:
        return None
    table = [[0] * len(JUDGED) for _ in JUDGED]
    for person, tool in first.values():
        table[JUDGED.index(person)][JUDGED.index(tool)] += 1
    return cohen_kappa(table)
