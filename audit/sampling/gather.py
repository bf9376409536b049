"""From the signed record of a job folder to the items that a history counts.

What was signed stays signed: the sign-off's signature covers the whole chain before it,
so a later version of the tool or of its rules leaves no job out. What changed of the job
itself (photos, facts, decisions) does, and is told.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Collection, Sequence
from pathlib import Path

from audit.checklist.models import HOLD_POINTS, HoldPoint, Item
from audit.errors import JobError, LidoffError
from audit.job.declaration import Declaration
from audit.job.facts import JobFacts
from audit.job.fitting_rows import DECLARATIONS_FILE
from audit.job.read import load_job
from audit.job.sources import JOB_FILE
from audit.job.text import same_key, writable
from audit.record.entries import Entry
from audit.record.evidence import parse_checklist, read_checklist_bytes
from audit.record.keys import fingerprint
from audit.record.payloads import ChecklistData
from audit.record.signoff import SignOffData, changed_since, latest_sign_off
from audit.record.state import RecordState, standings
from audit.record.verify import Verified, recorded_evidence, verify_job
from audit.sampling.history import Gathered, Judged, LeftOut
from audit.sampling.looks import Look, looks
from audit.sampling.lot import PAPERWORK, fitter_of


def gather(folders: Sequence[Path], keys: Collection[str] = ()) -> Gathered:
    """Read the records of several job folders; one that does not hold leaves out itself alone.

    Parameters
    ----------
    folders : sequence of path
    keys : collection of str
        Public keys that count; empty for any.
    """
    found = Gathered()
    for name, folder in _named(folders):
        try:
            _add(found, name, folder, keys)
        except JobError as problem:
            found.left_out.append(LeftOut(name, writable(problem.one_line()), "unreadable"))
        except LidoffError as problem:
            found.left_out.append(LeftOut(name, writable(problem.one_line()), "damaged"))
    return found


def _named(folders: Sequence[Path]) -> list[tuple[str, Path]]:
    """Each folder once, by its name; by its path where two have one name."""
    once = {Path(os.path.realpath(folder)): folder for folder in folders}
    names = [path.name for path in once]
    return [(writable(p.name if names.count(p.name) == 1 else str(f)), f) for p, f in once.items()]


def _add(found: Gathered, name: str, folder: Path, keys: Collection[str]) -> None:
    if not (folder / "record.sqlite").exists() and not (folder / "record.seal").exists():
        load_job(folder)  # where it is no job at all, that is what is told
        found.left_out.append(
            LeftOut(name, "it has no record, so nothing in it is signed", "unsigned")
        )
        return
    held = verify_job(folder)
    if held.problems:
        found.left_out.append(LeftOut(name, writable(held.problems[0].one_line()), "damaged"))
        return
    if not held.signed or held.fold.checklist is None:
        found.left_out.append(LeftOut(name, "nothing in it is signed off", "unsigned"))
        return
    # A copy of a job is the same job: counted twice, few would look like many.
    identity = held.entries[0].hash
    if identity in found.records:
        why = f"it is a copy of {found.records[identity]}: bring them together with lidoff merge"
        found.left_out.append(LeftOut(name, why, "copy"))
        return
    found.records[identity] = name
    facts = load_job(folder).facts
    checklist = parse_checklist(read_checklist_bytes(folder))
    state = standings(held.fold, recorded_evidence(held.fold.checklist, checklist))
    counted = False
    for point in HOLD_POINTS:
        entry = latest_sign_off(held.fold, point)
        if entry is None:
            if state.at(point):
                why = f"its hold point {point} is not signed off"
                found.left_out.append(LeftOut(name, why, "part"))
            continue
        why = _not_counted(entry, state, point, keys)
        if why:
            found.left_out.append(LeftOut(name, f"{point}: {why}", "part"))
            continue
        counted = True
        said = SignOffData.model_validate(entry.data)
        found.keys.setdefault(fingerprint(said.public_key), said.by)
        found.judged += _judged(name, folder, facts, held, state, entry, point)
    if counted:
        found.signed.append(name)


def _not_counted(entry: Entry, state: RecordState, point: HoldPoint, keys: Collection[str]) -> str:
    said = SignOffData.model_validate(entry.data)
    if keys and said.public_key not in keys:
        return "it is signed with none of the keys that were given"
    changed = list(dict.fromkeys(changed_since(entry, said, state, point)))
    if not changed:
        return ""
    more = f" and {len(changed) - 2} more" if len(changed) > 2 else ""
    return f"changed since it was signed off: {', '.join(changed[:2])}{more}"


def _judged(
    name: str, folder: Path, facts: JobFacts, held: Verified, state: RecordState,
    entry: Entry, point: HoldPoint,
) -> list[Judged]:  # fmt: skip
    until = held.fold.seen[entry.hash]
    by_item: dict[str, list[Look]] = {}
    for look in looks(held.entries, until):
        by_item.setdefault(look.item, []).append(look)
    since, moment = _declared_first(folder, held, until)
    found = []
    for standing in state.at(point):
        item = standing.item
        fitting = facts.fitting(item.subject.id) if item.subject.kind == "fitting" else None
        mine = by_item.get(item.id)
        if fitting is None or not mine or item.topic == PAPERWORK:
            continue
        look = _that_counts(mine)
        fitter = fitter_of(fitting, facts)
        said = _declaration(facts.declarations, item, fitter)
        # Decisions that a merge brought in have a place of their own in time alone.
        shown = all(x.seq > since and x.at > moment for x in mine)
        found.append(
            Judged(
                job=name,
                fitting=fitting.label,
                check=item.check,
                question=item.question,
                weight=item.weight,
                fitter=fitter,
                finds=look.finds,
                flagged=any(x.tool_state == "flag" for x in mine),
                by=look.by,
                month=look.at[:7],
                declared=said.says if said is not None and shown else None,
            )
        )
    return found


def _that_counts(mine: Sequence[Look]) -> Look:
    """The first look that held the fault to be there, else the first that held it not to be, else the last.

    That a fault was put right before the sign-off does not unmake it: the history is of the
    work as it was shown.
    """
    for wanted in ("fault", "no fault"):
        for look in mine:
            if look.finds == wanted:
                return look
    return mine[-1]


def _declaration(
    declared: Sequence[Declaration], item: Item, fitter: str | None
) -> Declaration | None:
    """What the fitter declared of an item: of this check, else of all checks of its fitting."""
    mine = [
        d
        for d in declared
        if d.fitting == item.subject.id
        and d.check in (None, item.check)
        and (d.by is None or (fitter is not None and same_key(d.by) == same_key(fitter)))
    ]
    return next((d for d in mine if d.check is not None), mine[0] if mine else None)


def _declared_first(folder: Path, held: Verified, until: int) -> tuple[int, str]:
    """Number and time of the entry from which on the declarations stood on record as they are now.

    Every `checklist` entry holds the hashes of the declared facts. A decision made later
    than the entry returned was made after the declarations; of one made earlier that can't
    be shown.
    """
    files = _files_with_declarations(folder)
    since = held.entries[until - 1]
    for entry in reversed(held.entries[:until]):
        if entry.kind != "checklist":
            continue
        facts = {f.file: f.sha256 for f in ChecklistData.model_validate(entry.data).facts}
        latest = held.fold.checklist
        assert latest is not None
        now = {f.file: f.sha256 for f in latest.facts}
        if any(facts.get(file) != now.get(file) for file in files):
            break
        since = entry
    return since.seq, since.at


def _files_with_declarations(folder: Path) -> tuple[str, ...]:
    files = [DECLARATIONS_FILE] if (folder / DECLARATIONS_FILE).is_file() else []
    text = (folder / JOB_FILE).read_text(encoding="utf-8-sig")
    if "declaration" in tomllib.loads(text):
        files.append(JOB_FILE)
    return tuple(files)
