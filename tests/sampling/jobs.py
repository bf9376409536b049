"""Jobs with a record for tests of spot checks and histories: fitted, declared, decided, signed."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Collection, Mapping
from datetime import UTC, datetime
from pathlib import Path

from audit.checklist.models import Checklist
from audit.record.decisions import photos_of
from audit.record.evidence import load_evidence, parse_checklist
from audit.record.keys import Signer
from audit.record.record import Record
from audit.record.types import Agree, Decision, Overrule
from tests.record.jobs import item, make_job, write_checklist

CHECKS = ("core-outside-grip", "copper-beyond-terminal")
"""The first weighs stop, the second does not."""


def clock(moment: str) -> Callable[[], datetime]:
    """A clock that stands still."""
    at = datetime.fromisoformat(moment).replace(tzinfo=UTC)
    return lambda: at


def write_facts(
    root: Path, count: int, *, by: str | None = "Apprentice 2", rooms: int = 1,
    fitted_by: Mapping[str, str] | None = None,
) -> None:  # fmt: skip
    """A `job.toml` with fittings in rooms by turns."""
    text = 'schema = "lidoff.job/1"\n\n[job]\nname = "12 Sample Row"\nregion = "gb-eng"\n'
    if by is not None:
        text += f'by = "{by}"\n'
    text += "".join(f'\n[[room]]\nname = "Room {n + 1}"\n' for n in range(rooms))
    for n in range(count):
        label = f"F{n + 1:02d}"
        text += f'\n[[fitting]]\nlabel = "{label}"\nroom = "Room {n % rooms + 1}"\n'
        text += 'cable = "1.5 T&E"\nmodel = "R7 plain"\n'
        if fitted_by and label in fitted_by:
            text += f'fitted_by = "{fitted_by[label]}"\n'
    (root / "job.toml").write_text(text, encoding="utf-8")


def plain_job(
    root: Path, count: int = 6, *, flagged: Collection[str] = (), unsure: Collection[str] = (),
    seed: int = 0, **facts: object,
) -> Path:  # fmt: skip
    """A job whose fittings have two items each: a stop and a lesser one."""
    make_job(root, count, seed=seed)
    write_facts(root, count, **facts)  # type: ignore[arg-type]
    write_checklist(root, only_two(root, count, flagged, unsure))
    return root


def only_two(
    root: Path, count: int, flagged: Collection[str] = (), unsure: Collection[str] = ()
) -> Checklist:
    """The job's checklist with two items a fitting; an item's id says which is flagged."""
    made = parse_checklist((root / "out" / "checklist.json").read_bytes())
    items = []
    for n in range(count):
        label = f"F{n + 1:02d}"
        for check, weight in zip(CHECKS, ("stop", "put right"), strict=True):
            name = f"{check}:{label}"
            state = "flag" if name in flagged else "unsure" if name in unsure else "clear"
            photo = f"{label}-inside.jpg"
            items.append(item(check, label, state, weight=weight, photo=photo))  # type: ignore[arg-type]
    return made.model_copy(update={"items": tuple(items)})


class Person:
    """Somebody who decides at one job."""

    def __init__(self, root: Path, by: str = "Supervisor 1", at: str = "2026-03-10T09:00") -> None:
        self.by = by
        self.record = Record.open(root, clock=clock(at))
        self.job = load_evidence(root)
        self.record.adopt(self.job)

    def decide(self, name: str, decision: Decision) -> None:
        standing = self.record.state(self.job).standings[name]
        photos = photos_of(self.job, standing.item)
        key = str(uuid.uuid4())
        self.record.shown(self.job, name, by=self.by, photos=photos, key=key)
        self.record.decide(
            self.job, name, decision, by=self.by, saw=standing.token, key=str(uuid.uuid4())
        )

    def decide_rest(
        self, faults: Collection[str] = (), only: Collection[str] | None = None
    ) -> None:
        """Decide what is undecided: a fault where named, none elsewhere."""
        for name, standing in self.record.state(self.job).standings.items():
            if standing.status == "decided" or (only and standing.item.subject.id not in only):
                continue
            fault, flag = name in faults, standing.item.state == "flag"
            if standing.item.state == "unsure":
                self.decide(name, Overrule("seen", "fault" if fault else "no fault"))
            else:
                self.decide(name, Agree() if fault == flag else Overrule("Seen otherwise."))

    def sign(self, signer: Signer) -> None:
        self.record.sign_off(
            self.job, "closing-up", by=self.by, statement="I looked at every item.",
            signer=signer, key=str(uuid.uuid4()),
        )  # fmt: skip


def signed_job(
    root: Path, signer: Signer, *, month: str, faults: Collection[str] = (), count: int = 6,
    declared: str = "", decider: str = "Supervisor 1", seed: int = 0, **facts: object,
) -> Path:  # fmt: skip
    """A job that somebody decided and signed off in one month."""
    plain_job(root, count, seed=seed, **facts)
    if declared:
        (root / "declarations.csv").write_text(declared, encoding="utf-8")
    person = Person(root, decider, f"{month}-10T09:00")
    # The declarations stand on record a minute before anything is decided.
    person.record.store._clock = clock(f"{month}-10T09:01")
    person.decide_rest(faults)
    person.sign(signer)
    return root
