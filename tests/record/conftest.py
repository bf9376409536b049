"""A job with its record, ready to be decided on."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from audit.record.decisions import photos_of
from audit.record.entries import Entry
from audit.record.evidence import JobEvidence, load_evidence
from audit.record.keys import Signer, make_key
from audit.record.record import JobState, Record
from audit.record.types import Agree, Decision, Overrule
from tests.record.jobs import make_job

ME = "A. Person"
STOP = "core-outside-grip:F01"
CLEAR = "copper-beyond-terminal:F01"
UNSURE = "cpc-cut-short:F01"
BOARDING = "joist-holes:F01"


def new_key() -> str:
    """A key for one act."""
    return str(uuid.uuid4())


@dataclass
class Desk:
    """One person at one copy of a job."""

    root: Path
    record: Record
    job: JobEvidence
    by: str = ME
    signer: Signer | None = field(default=None, repr=False)

    @property
    def state(self) -> JobState:
        return self.record.state(self.job)

    def show(self, item: str) -> Entry:
        photos = photos_of(self.job, self.job.items[item])
        return self.record.shown(self.job, item, by=self.by, photos=photos, key=new_key())

    def decide(self, item: str, decision: Decision, key: str | None = None) -> Entry:
        token = self.state.standings[item].token
        return self.record.decide(
            self.job, item, decision, by=self.by, saw=token, key=key or new_key()
        )

    def undo(self, item: str) -> Entry:
        token = self.state.standings[item].token
        return self.record.undo(self.job, item, by=self.by, saw=token, key=new_key())

    def decide_all(self) -> None:
        for standing in self.state.standings.values():
            if standing.status == "decided":
                continue
            if standing.item.weight == "stop":
                self.show(standing.item.id)
            flag = standing.item.state == "flag"
            self.decide(standing.item.id, Overrule("Seen otherwise.") if flag else Agree())

    def sign(self, hold_point: str = "closing-up") -> Entry:
        assert self.signer is not None
        return self.record.sign_off(
            self.job,
            hold_point,  # type: ignore[arg-type]
            by=self.by,
            statement="I looked at every item.",
            signer=self.signer,
            key=new_key(),
        )


def open_desk(root: Path, by: str = ME, signer: Signer | None = None) -> Desk:
    """Sit down at a job folder."""
    record, job = Record.open(root), load_evidence(root)
    record.adopt(job)
    return Desk(root, record, job, by, signer)


@pytest.fixture(scope="session")
def signer(tmp_path_factory: pytest.TempPathFactory) -> Signer:
    """A key kept outside of any job."""
    return make_key(tmp_path_factory.mktemp("keys") / "mine.pem", "several words together")


@pytest.fixture
def desk(tmp_path: Path, signer: Signer) -> Desk:
    """A desk at a small job."""
    return open_desk(make_job(tmp_path / "job", fittings=2), signer=signer)


@pytest.fixture
def sit() -> Callable[..., Desk]:
    """Sit down at another folder."""
    return open_desk
