"""Signing a hold point off, and whether a sign-off still stands."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import Field

from audit.checklist.models import HOLD_POINTS, HoldPoint
from audit.errors import Where
from audit.record.canonical import canonical, digest
from audit.record.entries import Draft, Entry
from audit.record.errors import DecisionError
from audit.record.evidence import JobEvidence, changed_files, drift, rules_hash
from audit.record.fold import Fold
from audit.record.keys import Signer, signature_holds
from audit.record.payloads import ChecklistData, Hash, Name, Text, check_name, checked
from audit.record.state import RecordState
from audit.record.types import SignOffStatus

SCHEMA = "lidoff.sign-off/1"


class SignOffData(ChecklistData):
    """What is signed."""

    hold_point: HoldPoint
    statement: Text
    by: Name
    follows: Hash
    covers: Hash
    decisions: list[list[str]]
    left_open: list[str]
    public_key: str = Field(pattern="^[0-9a-f]{64}$")
    signature: str = Field(pattern="^[0-9a-f]{128}$")


def covered(found: RecordState, hold_point: HoldPoint) -> list[list[str]]:
    """Item, its digest, and the decision that counts, for all items of a hold point, sorted."""
    return sorted(
        [s.item.id, s.digest, s.decision.id]
        for s in found.at(hold_point)
        if s.status == "decided" and s.decision is not None
    )


def in_the_way_on_disk(job: JobEvidence) -> tuple[str, ...]:
    """What changed on the disk since the checklist was made; reads every photo."""
    return drift(job)


def refuse(fold: Fold, found: RecordState, hold_point: HoldPoint, changed: Sequence[str]) -> None:
    """Raise when something stands in the way of a sign-off.

    Raises
    ------
    DecisionError
        Naming all of it.
    """
    known = fold.checklist
    if known is None or known.checklist_sha256 != found.job.checklist_sha256:
        raise DecisionError("the checklist was made again", next_step="load the page again")
    if known.rules_sha256 != rules_hash():
        changed = (*changed, "the rules")
    if changed:
        raise DecisionError(
            f"photos, facts or rules changed since the checklist was made: {_few(changed)}",
            next_step=f"run: lidoff audit {found.job.root.name}",
        )
    if not found.at(hold_point):
        raise DecisionError(f"no item belongs to {hold_point}", next_step="nothing to sign")
    ways = found.progress(hold_point).in_the_way
    if ways:
        said = "; ".join(f"{words}: {_few(ids)}" for words, ids in ways.items())
        raise DecisionError(
            f"{hold_point} can't be signed off: {said}", next_step="decide these first"
        )


def _few(names: Sequence[str], most: int = 5) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


@dataclass(frozen=True, slots=True)
class Said:
    """What the person who signs says: for which hold point, who, their statement, key of the act."""

    hold_point: HoldPoint
    by: str
    statement: str
    key: str


def draft(found: RecordState, said: Said, signer: Signer, last: Entry) -> Draft:
    """A signed sign-off that follows on the record's last entry.

    Parameters
    ----------
    found : RecordState
        `refuse` has been asked.
    said : Said
    signer : Signer
    last : Entry

    Raises
    ------
    DecisionError
        When name or statement are empty, or the key lies in the job folder.
    """
    check_name(said.by)
    job = found.job
    if signer.path is not None and signer.path.resolve().is_relative_to(job.root.resolve()):
        raise DecisionError("the key lies in the job folder", Where(signer.path), "move it out")
    decisions = covered(found, said.hold_point)
    body: dict[str, Any] = {
        "signed": SCHEMA,
        **job.record_data,
        "hold_point": said.hold_point,
        "statement": said.statement.strip(),
        "by": said.by,
        "follows": last.hash,
        "covers": digest(decisions),
        "decisions": decisions,
        "left_open": list(found.progress(said.hold_point).left_open),
        "public_key": signer.public_key,
    }
    data = body | {"signature": signer.sign(canonical(body))}
    checked(SignOffData, data)
    return Draft("sign-off", data, said.by, said.key)


def signed_message(data: Mapping[str, Any]) -> bytes:
    """The bytes that a sign-off's signature covers: all its data but the signature."""
    return canonical({k: v for k, v in data.items() if k != "signature"})


def sign_off_problem(entry: Entry) -> str:
    """What is wrong with a sign-off by itself; empty when it holds.

    Raises
    ------
    ValueError
        When it does not say what a sign-off says.
    """
    said = SignOffData.model_validate(entry.data)
    if not signature_holds(said.public_key, said.signature, signed_message(entry.data)):
        return "its signature does not hold"
    if said.follows != entry.prev:
        return "it was signed for another place in the record"
    if said.by != entry.by:
        return "it names two people"
    if said.covers != digest(said.decisions):
        return "the decisions it lists are not those it covers"
    return ""


def statuses(fold: Fold, found: RecordState) -> dict[HoldPoint, SignOffStatus]:
    """The latest sign-off of each hold point, and whether it still stands."""
    return {point: _status(fold, found, point) for point in HOLD_POINTS}


def _status(fold: Fold, found: RecordState, point: HoldPoint) -> SignOffStatus:
    entry = latest_sign_off(fold, point)
    if entry is None:
        return SignOffStatus(point, "none")
    said = SignOffData.model_validate(entry.data)
    reasons = tuple(dict.fromkeys(_stale(entry, said, found, point)))
    return SignOffStatus(
        hold_point=point,
        state="stale" if reasons else "signed",
        reasons=reasons,
        seq=fold.seen[entry.hash],
        by=said.by,
        at=entry.at,
        statement=said.statement,
        public_key=said.public_key,
    )


def latest_sign_off(fold: Fold, point: HoldPoint) -> Entry | None:
    """The last sign-off of a hold point, or None."""
    mine = [e for e in fold.sign_offs if e.data.get("hold_point") == point]
    return max(mine, key=lambda e: (fold.seen[e.hash], e.at), default=None)


def _stale(entry: Entry, said: SignOffData, found: RecordState, point: HoldPoint) -> Iterator[str]:
    job = found.job
    yield from changed_since(entry, said, found, point)
    if said.rules_sha256 != rules_hash():
        yield "the rules changed"
    if said.tool.get("version") != job.tool.get("version"):
        yield "the checklist was made by another version of the tool"


def changed_since(
    entry: Entry, said: SignOffData, found: RecordState, point: HoldPoint
) -> Iterator[str]:
    """What of the job itself is no longer what was signed; later rules and versions are not asked.

    Parameters
    ----------
    entry : Entry
        The sign-off.
    said : SignOffData
        What it says.
    found : RecordState
    point : {'boarding', 'closing-up'}
    """
    job = found.job
    problem = sign_off_problem(entry)
    if problem:
        yield problem
    yield from changed_files({p.file: p.sha256 for p in said.photos}, job.photos, "photo")
    yield from changed_files({p.file: p.sha256 for p in said.facts}, job.facts)
    yield from _decided_otherwise(said, found, point)


def _decided_otherwise(said: SignOffData, found: RecordState, point: HoldPoint) -> Iterator[str]:
    then = {item: (item_digest, decision) for item, item_digest, decision in said.decisions}
    now = {s.item.id: s for s in found.at(point)}
    for item in sorted({*then, *now}):
        standing = now.get(item)
        if standing is None:
            yield f"{item} is no longer asked"
        elif item not in then:
            yield f"{item} was added"
        elif standing.digest != then[item][0]:
            yield f"{item} changed"
        elif standing.status == "conflict":
            yield f"{item} was decided differently in two copies"
        elif standing.decision is None or then[item][1] not in standing.token:
            yield f"{item} was decided again or taken back"
