"""Draws in the record: announced first, never unmade, drawn again by verify; and what they prove."""

from __future__ import annotations

import shutil
import uuid
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from audit.errors import UsageError
from audit.record.entries import Draft
from audit.record.errors import DecisionError
from audit.record.evidence import load_evidence
from audit.record.fold import Fold
from audit.record.merge import merge
from audit.record.record import Record
from audit.record.state import standings
from audit.record.types import Agree, Overrule, Retake
from audit.record.verify import verify_job
from audit.sampling.draw import METHOD, Unit, frame_sha256
from audit.sampling.looks import looks
from audit.sampling.outcome import Outcome, next_step, outcome
from audit.sampling.recorded import (
    Announcement,
    announce,
    chosen,
    draws,
    family,
    finish,
    replay,
)
from audit.sampling.told import draw_lines, result_lines
from tests.sampling.jobs import CHECKS, Person, only_two, plain_job, write_checklist

STOP, LESSER = CHECKS
ASKED = [{"id": STOP, "weight": "stop"}, {"id": LESSER, "weight": "put right"}]
NEVER = ("pass", "fail", "accept", "reject", "conform")


def said(count: int, size: int, seed: str = "a seed", **more: object) -> Announcement:
    frame = tuple(Unit(f"F{n + 1:02d}", ()) for n in range(count))
    given_ = {
        "frame": frame, "by_what": (), "size": size, "lot": count,
        "lot_words": "all fittings of the job", "asked": {"by": "chance"}, "checks": ASKED,
        "seed": seed, "seed_from": "given",
    }  # fmt: skip
    return Announcement(**{**given_, **more})  # type: ignore[arg-type]


def drawn_job(root: Path, count: int = 6, size: int = 4, **states: object) -> Record:
    plain_job(root, count, **states)  # type: ignore[arg-type]
    record = Record.open(root)
    announce(record, said(count, size), "Supervisor 1")
    finish(record)
    return record


def result(root: Path, number: int | None = None) -> Outcome:
    held = verify_job(root)
    assert held.holds
    found = draws(held.fold)
    mine = family(found, chosen(found, number))
    return outcome(mine, standings(held.fold, load_evidence(root)), looks(held.entries))


def test_the_seed_is_on_disk_before_the_draw(tmp_path: Path) -> None:
    root = plain_job(tmp_path / "job")
    record = Record.open(root)
    entry = announce(record, said(6, 4), "Supervisor 1")
    held = verify_job(root)
    assert (held.entries[-1].kind, held.entries[-1].data["seed"]) == ("pick-frame", "a seed")
    assert draws(held.fold)[0].picked is None
    made = finish(record)
    assert [e.data["announced"] for e in made] == [entry.hash]
    assert finish(record) == []  # once only


def test_a_draw_cut_short_is_finished_as_it_was_announced(tmp_path: Path) -> None:
    root = plain_job(tmp_path / "job")
    announce(Record.open(root), said(6, 4), None)
    later = Record.open(root)
    announce(later, said(6, 2, "another"), None)
    finish(later)
    first, second = draws(later.fold())
    assert len(first.picked or ()) == 4
    assert len(second.picked or ()) == 2


def test_drawing_again_is_seen(tmp_path: Path) -> None:
    record = drawn_job(tmp_path / "job")
    announce(record, said(6, 4, "a luckier seed"), "Supervisor 1")
    finish(record)
    found = draws(record.fold())
    assert [d.number for d in found] == [1, 2]
    assert "2 draws were made in this job" in "\n".join(draw_lines(found[1], (), len(found)))
    assert chosen(found, 1).number == 1
    with pytest.raises(UsageError, match="no draw 3"):
        chosen(found, 3)


def test_verify_draws_again_and_names_a_draw_that_was_made_up(tmp_path: Path) -> None:
    root = plain_job(tmp_path / "job")
    record = Record.open(root)
    entry = announce(record, said(6, 2), None)
    # Whoever can write entries can write this one; drawing again shows it.
    data = {"announced": entry.hash, "picked": ["F01", "F02"]}
    honest = draws(record.fold())[0].shares[0].labels
    assert sorted(data["picked"]) != list(honest)
    record.store.append(lambda _: Draft("pick", data))
    problems = replay(verify_job(root).fold)
    assert "not those that its seed and frame give" in problems[0].what


def test_verify_names_a_frame_that_is_another_and_a_method_unknown(tmp_path: Path) -> None:
    root = plain_job(tmp_path / "job")
    record = Record.open(root)
    entry = announce(record, said(6, 2), None)
    forged = dict(entry.data) | {"frame_sha256": frame_sha256([Unit("F01", ())])}
    record.store.append(lambda _: Draft("pick-frame", forged))
    later = dict(entry.data) | {"method": "by a later version"}
    record.store.append(lambda _: Draft("pick-frame", later))
    what = [p.what for p in replay(record.fold())]
    assert "not the one it was hashed as" in what[0]
    assert "does not know" in what[1]
    with pytest.raises(UsageError, match="does not know"):
        finish(record)
    assert entry.data["method"] == METHOD


def test_a_pick_without_its_announcement_is_damage(tmp_path: Path) -> None:
    root = plain_job(tmp_path / "job")
    record = Record.open(root)
    record.store.append(lambda _: Draft("pick", {"announced": "0" * 64, "picked": []}))
    assert "does not say what a pick says" in verify_job(root).problems[0].what


def test_what_cannot_be_recorded_is_refused(tmp_path: Path) -> None:
    root = plain_job(tmp_path / "job")
    record = Record.open(root)
    before = record.entries()
    for wrong in (
        said(6, 0),
        said(6, 2, ""),
        said(6, 2, seed_from="dreamt"),
        said(6, 2, checks=[]),
    ):
        with pytest.raises(DecisionError):
            announce(record, wrong, None)
    with pytest.raises(DecisionError):
        announce(record, said(6, 2), "  ")
    assert record.entries() == before


def test_copies_brought_together_show_both_draws(tmp_path: Path) -> None:
    record = drawn_job(tmp_path / "job")
    shutil.copytree(tmp_path / "job", tmp_path / "copy")
    there = Record.open(tmp_path / "copy")
    announce(there, said(6, 3, "theirs"), "B. Person")
    finish(there)
    person = Person(tmp_path / "job")
    merge(person.record, person.job, there.entries(), name="copy")
    found = draws(person.record.fold())
    assert [len(d.picked or ()) for d in found] == [4, 3]
    assert replay(person.record.fold()) == []
    assert verify_job(tmp_path / "job").holds
    assert record.store.exists


def test_nothing_is_concluded_from_what_is_undecided(tmp_path: Path) -> None:
    root = tmp_path / "job"
    drawn_job(root, 12, 5, unsure=[f"{STOP}:F{n:02d}" for n in range(1, 13)])
    person = Person(root)
    got = result(root)
    assert all(len(g.undecided) == 5 for g in got.groups)
    assert [g.most_in_lot for g in got.groups] == [12, 12]  # the tool's `clear` counts for nothing
    assert got.open
    assert len(got.waiting) == 10
    assert got.waiting[0].startswith(STOP)
    first, second = got.picked[:2]
    # Agreed that it can't be told, all else decided: still undecided.
    person.decide(f"{STOP}:{first}", Agree())
    person.decide(f"{LESSER}:{first}", Agree())
    # Another photo asked for, all else decided: likewise.
    person.decide(f"{STOP}:{second}", Overrule("I looked.", "no fault"))
    person.decide(f"{LESSER}:{second}", Retake("One sharp photo."))
    stops, whole = result(root).groups
    assert (first in stops.undecided, second in stops.without) == (True, True)
    assert {first, second} <= set(whole.undecided)
    assert whole.without == ()
    text = "\n".join(result_lines(got, next_step(got)))
    assert "Nothing is concluded" in text


def test_limits_after_a_look_without_faults(tmp_path: Path) -> None:
    """12 fittings, 8 looked at, none faulty: with 3 faulty the chance of that is C(9, 8) / C(12, 8) = .018."""
    root = tmp_path / "job"
    drawn_job(root, 12, 8)
    Person(root).decide_rest(only=result(root).picked)
    got = result(root)
    assert [len(g.without) for g in got.groups] == [8, 8]
    assert (
        got.groups[0].most_in_lot == 2
    )  # with 2 faulty it is C(10, 8) / C(12, 8) = 45 / 495 = .091
    assert got.groups[0].most_share == pytest.approx(0.3123, abs=5e-5)  # 1 - 0.05 ** (1 / 8)
    assert got.whatever == 2
    assert not got.open
    assert "Nothing more is asked for" in next_step(got).words


def test_a_stop_asks_for_all_of_the_lot(tmp_path: Path) -> None:
    root = tmp_path / "job"
    drawn_job(root, 12, 5)
    picked = result(root).picked
    Person(root).decide_rest([f"{STOP}:{picked[0]}"], picked)
    got = result(root)
    assert got.groups[0].faulty == (picked[0],)
    step = next_step(got)
    assert (step.size, "every one of the 12" in step.words) == (12, True)


def test_another_fault_widens_to_the_next_size_and_counts_together(tmp_path: Path) -> None:
    root = tmp_path / "job"
    record = drawn_job(root, 30, 5)
    first = result(root)
    Person(root).decide_rest([f"{LESSER}:{first.picked[0]}"], first.picked)
    got = result(root)
    step = next_step(got)
    assert (got.groups[0].faulty, step.size) == ((), 8)
    rest = tuple(
        Unit(u.fitting, ()) for u in got.draws[0].data.frame if u.fitting not in first.picked
    )
    more = said(30, 3, "more", frame=rest, widens=got.draws[0].entry.hash)
    announce(record, more, None)
    finish(record)
    both = result(root)
    assert len(both.picked) == 8
    assert set(first.picked) < set(both.picked)
    assert both.groups[1].faulty == (first.picked[0],)
    assert len(both.groups[1].undecided) == 3
    assert both == result(root, 1)  # either number names the family


def test_a_fault_put_right_since_is_still_a_finding(tmp_path: Path) -> None:
    root = tmp_path / "job"
    drawn_job(root, 6, 6)
    name = f"{LESSER}:F01"
    Person(root).decide_rest([name])
    made = only_two(root, 6)
    again = made.model_copy(
        update={
            "items": tuple(
                i.model_copy(update={"why": "Another photo."}) if i.id == name else i
                for i in made.items
            )
        }
    )
    write_checklist(root, again)
    person = Person(root)
    person.decide(name, Agree())
    got = result(root)
    assert got.groups[1].faulty == ("F01",)
    # A correction on the same photo is none: the last word counts.
    person.decide(f"{LESSER}:F02", Overrule("Seen otherwise."))
    person.decide(f"{LESSER}:F02", Agree())
    assert result(root).groups[1].faulty == ("F01",)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.data())
def test_no_wording_gives_a_verdict(tmp_path: Path, data: st.DataObject) -> None:
    root = tmp_path / uuid.uuid4().hex
    count = data.draw(st.integers(1, 6))
    size = data.draw(st.integers(1, count))
    plain_job(root, count)
    record = Record.open(root)
    plan = {"by": "plan", "severity": "normal", "aql": "4.0", "ac": data.draw(st.integers(0, 2))}
    announce(record, said(count, size, asked=plan), None)
    finish(record)
    names = [f"{c}:F{n + 1:02d}" for c in CHECKS for n in range(count)]
    person = Person(root)
    person.decide_rest(
        data.draw(st.sets(st.sampled_from(names))),
        data.draw(st.sets(st.sampled_from([f"F{n + 1:02d}" for n in range(count)]), min_size=1)),
    )
    got = result(root)
    text = "\n".join(result_lines(got, next_step(got))).casefold()
    assert not [w for w in NEVER if w in text.replace("pick dir", "")]
    assert " safe" not in text
    for group in got.groups:
        assert len(group.faulty) + len(group.without) + len(group.undecided) == size
        assert len(group.faulty) <= group.worst <= group.most_in_lot <= count
    shutil.rmtree(root)


def test_old_records_still_hold(tmp_path: Path) -> None:
    root = plain_job(tmp_path / "job")
    Person(root).decide_rest()
    held = verify_job(root)
    assert held.holds
    assert (replay(held.fold), draws(held.fold)) == ([], ())
    assert isinstance(held.fold, Fold)
