"""A fitter's history: from signed records alone, with exact intervals, told as a help to teach."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, poisson

from audit.job.text import same_key
from audit.record.keys import Signer, make_key
from audit.record.types import Agree, Overrule
from audit.sampling.chart import TAIL, chart, chart_svg, limits
from audit.sampling.gather import gather
from audit.sampling.history import (
    FitterHistory,
    Gathered,
    Judged,
    Month,
    histories,
    months_between,
    without_names,
)
from audit.sampling.page import as_json, page
from tests.record.jobs import write_checklist
from tests.sampling.jobs import CHECKS, Person, clock, only_two, plain_job, signed_job

STOP, LESSER = CHECKS


@pytest.fixture(scope="session")
def signer(tmp_path_factory: pytest.TempPathFactory) -> Signer:
    return make_key(tmp_path_factory.mktemp("keys") / "mine.pem", "several words together")


def only(found: Gathered) -> FitterHistory:
    people = histories(found.judged)
    assert len(people) == 1
    return people[0]


def test_what_is_counted(tmp_path: Path, signer: Signer) -> None:
    one = signed_job(
        tmp_path / "one", signer, month="2026-01", faults=[f"{LESSER}:F01", f"{LESSER}:F02"]
    )
    two = signed_job(tmp_path / "two", signer, month="2026-03", faults=[f"{LESSER}:F04"], seed=9)
    found = gather([one, two])
    assert (found.signed, found.left_out) == (["one", "two"], [])
    h = only(found)
    assert (h.name, h.fittings.faults, h.fittings.of) == ("Apprentice 2", 3, 12)
    # 3 of 12: 0.0549 to 0.5719 (Clopper-Pearson; computed with scipy and statsmodels alike).
    assert h.fittings.interval == pytest.approx((0.0549, 0.5719), abs=5e-5)
    assert [(m.name, m.fittings, m.faulty, m.faults) for m in h.by_month] == [
        ("2026-01", 6, 2, 2), ("2026-02", 0, 0, 0), ("2026-03", 6, 1, 1),
    ]  # fmt: skip
    assert {r.name: (r.faults, r.of) for r in h.by_check} == {LESSER: (3, 12), STOP: (0, 12)}
    assert h.few


def test_a_stop_that_was_put_right_before_the_sign_off_is_still_told(
    tmp_path: Path, signer: Signer
) -> None:
    """A sign-off can't stand beside a fault of weight stop: without this no such fault was ever told."""
    root = plain_job(tmp_path / "job", 2, flagged=[f"{STOP}:F01"])
    person = Person(root, at="2026-01-31T23:59")
    person.decide(f"{STOP}:F01", Agree())
    write_checklist(root, only_two(root, 2))  # a new photo, and nothing is flagged any more
    again = Person(root, at="2026-02-02T09:00")
    again.decide_rest()
    again.decide(f"{STOP}:F01", Agree())
    again.sign(signer)
    h = only(gather([root]))
    rate = next(r for r in h.by_check if r.name == STOP)
    assert (rate.faults, rate.of, rate.flagged) == (1, 2, 1)
    assert [m.name for m in h.by_month] == ["2026-01", "2026-02"]


def test_a_correction_on_the_same_photo_is_no_fault(tmp_path: Path, signer: Signer) -> None:
    root = plain_job(tmp_path / "job", 2, flagged=[f"{STOP}:F01"])
    person = Person(root)
    person.decide(f"{STOP}:F01", Agree())
    person.decide(f"{STOP}:F01", Overrule("It is the sleeve."))
    person.decide_rest()
    person.sign(signer)
    assert only(gather([root])).fittings.faults == 0


def test_months_are_those_of_utc() -> None:
    assert months_between("2025-11", "2026-02") == ["2025-11", "2025-12", "2026-01", "2026-02"]
    assert months_between("2026-02", "2026-02") == ["2026-02"]


def test_what_is_left_out_and_why(tmp_path: Path, signer: Signer) -> None:
    good = signed_job(tmp_path / "good", signer, month="2026-01")
    bare = plain_job(tmp_path / "bare", 2)
    undecided = plain_job(tmp_path / "undecided", 2)
    Person(undecided)
    damaged = signed_job(tmp_path / "damaged", signer, month="2026-01")
    data = bytearray((damaged / "record.sqlite").read_bytes())
    data[len(data) // 2] ^= 0xFF
    (damaged / "record.sqlite").write_bytes(bytes(data))
    changed = signed_job(tmp_path / "changed", signer, month="2026-01")
    (changed / "photos" / "F01-inside.jpg").write_bytes(b"another")
    later = signed_job(tmp_path / "later", signer, month="2026-01")
    person = Person(later)
    person.decide(f"{LESSER}:F01", Overrule("I looked again."))
    found = gather([good, bare, undecided, damaged, changed, later, tmp_path / "nowhere"])
    assert found.signed == ["good"]
    why = {x.job: (x.kind, x.why) for x in found.left_out}
    assert why["bare"] == ("unsigned", "it has no record, so nothing in it is signed")
    assert why["undecided"] == ("unsigned", "nothing in it is signed off")
    assert why["damaged"][0] == why["changed"][0] == "damaged"
    assert "F01-inside.jpg" in why["changed"][1]
    assert why["later"][0] == "part"
    assert "decided again" in why["later"][1]
    assert why["nowhere"][0] == "unreadable"
    assert {i.job for i in found.judged} == {"good"}


def test_later_rules_and_versions_leave_no_job_out(
    tmp_path: Path, signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was signed stays signed: the history of a year would be gone with every new version."""
    root = signed_job(tmp_path / "job", signer, month="2026-01")
    monkeypatch.setattr("audit.record.signoff.rules_hash", lambda: "0" * 64)
    assert gather([root]).signed == ["job"]


def test_only_the_keys_given_count(tmp_path: Path, signer: Signer) -> None:
    other = make_key(tmp_path / "other.pem", "several other words")
    mine = signed_job(tmp_path / "mine", signer, month="2026-01")
    theirs = signed_job(tmp_path / "theirs", other, month="2026-01")
    found = gather([mine, theirs], [signer.public_key])
    assert found.signed == ["mine"]
    assert "none of the keys" in found.left_out[0].why


def test_who_fitted_what(tmp_path: Path, signer: Signer) -> None:
    root = signed_job(
        tmp_path / "job", signer, month="2026-01", faults=[f"{LESSER}:F01"],
        fitted_by={"F01": "Apprentice 3", "F02": "apprentice  2"},
    )  # fmt: skip
    people = {same_key(h.name): h.fittings for h in histories(gather([root]).judged)}
    assert {n: (r.faults, r.of) for n, r in people.items()} == {
        "apprentice 2": (0, 5), "apprentice 3": (1, 1),
    }  # fmt: skip
    nobody = signed_job(tmp_path / "nobody", signer, month="2026-01", by=None)
    assert histories(gather([nobody]).judged) == ()


def test_nobody_judges_their_own_work(tmp_path: Path, signer: Signer) -> None:
    root = signed_job(tmp_path / "job", signer, month="2026-01", decider="apprentice 2")
    h = only(gather([root]))
    assert (h.fittings.of, h.by_themselves) == (0, 12)


DECLARED = "fitting,check,says\n" + "".join(f"F0{n},{LESSER},no fault\n" for n in range(1, 5))


def test_own_word_against_what_was_decided(tmp_path: Path, signer: Signer) -> None:
    declared = DECLARED + f"F05,{LESSER},fault\nF06,{LESSER},can't tell\n"
    root = signed_job(
        tmp_path / "job", signer, month="2026-01", declared=declared,
        faults=[f"{LESSER}:F01", f"{LESSER}:F05"],
    )  # fmt: skip
    own = only(gather([root])).own
    assert own.table == ((1, 0), (1, 3))
    assert own.cant_tell == 1
    assert own.agreement is not None
    # (po - pe) / (1 - pe) by hand: po 4/5, pe (1 * 2 + 4 * 3) / 25 = 14/25, kappa 6/11.
    assert own.agreement.kappa == pytest.approx(6 / 11)


def test_kappa_of_the_worked_example() -> None:
    """Fifty proposals read twice (a worked example widely printed): kappa 0.40, .15109 to .64891."""
    pairs = [("fault", "fault")] * 20 + [("fault", "no fault")] * 5
    pairs += [("no fault", "fault")] * 10 + [("no fault", "no fault")] * 15
    items = [
        Judged("job", f"F{n}", LESSER, "?", "put right", "A", finds, False, "B", "2026-01", said)
        for n, (said, finds) in enumerate(pairs)
    ]
    own = histories(items)[0].own
    assert own.table == ((20, 5), (10, 15))
    assert own.agreement is not None
    assert own.agreement.kappa == pytest.approx(0.4, abs=5e-5)
    assert (own.agreement.low, own.agreement.high) == pytest.approx((0.15109, 0.64891), abs=5e-6)


def test_a_word_for_all_checks_yields_to_one_for_the_check(tmp_path: Path, signer: Signer) -> None:
    declared = f"fitting,check,says,by\nF01,,no fault,Apprentice 2\nF01,{LESSER},fault,Apprentice 2\nF02,,fault,Somebody\n"
    root = signed_job(tmp_path / "job", signer, month="2026-01", declared=declared)
    said = {(i.fitting, i.check): i.declared for i in gather([root]).judged}
    assert (said["F01", STOP], said["F01", LESSER]) == ("no fault", "fault")
    assert said["F02", STOP] is None  # declared by somebody who did not fit it


def test_what_was_declared_after_the_decision_counts_for_nothing(
    tmp_path: Path, signer: Signer
) -> None:
    root = plain_job(tmp_path / "job", 6)
    Person(root, at="2026-01-10T09:00").decide(f"{LESSER}:F01", Agree())
    (root / "declarations.csv").write_text(DECLARED, encoding="utf-8")
    made = only_two(root, 6).model_copy(update={"made_at": "2026-01-11T08:00:00Z"})
    write_checklist(root, made)
    late = Person(root, at="2026-01-11T09:00")
    late.record.store._clock = clock("2026-01-11T09:01")
    late.decide_rest()
    late.sign(signer)
    said = {i.fitting: i.declared for i in gather([root]).judged if i.check == LESSER}
    assert said["F01"] is None
    assert said["F02"] == "no fault"


def test_names_left_out_leave_no_name(tmp_path: Path, signer: Signer) -> None:
    good = signed_job(tmp_path / "Blue Door", signer, month="2026-01", by="Zoe Example")
    bad = signed_job(tmp_path / "Red Gate", signer, month="2026-01", by="Adam Sample")
    (bad / "photos" / "F01-inside.jpg").write_bytes(b"another")
    found = without_names(gather([good, bad]))
    people = histories(found.judged)
    texts = [
        page(people, found, "p", keys_given=False, hidden=True),
        json.dumps(as_json(people, found, hidden=True)),
    ]
    for text in texts:
        assert "Fitter A" in text
        for name in (
            "Zoe",
            "Example",
            "Adam",
            "Blue",
            "Red Gate",
            "Supervisor",
            "F01",
            str(tmp_path),
        ):
            assert name not in text, name
    assert without_names(gather([good, bad])) == found  # the same letters every time


@settings(deadline=None)
@given(st.integers(1, 400), st.floats(0.001, 0.999))
def test_limits_hold_the_tail_they_promise(n: int, centre: float) -> None:
    """Exactly: beyond each limit lies no more than 0.00135, and one step nearer would be more."""
    assert (
        pytest.approx(0.0013499, abs=5e-8) == TAIL
    )  # 1 - Phi(3), any table of the normal distribution
    for kind, spread in (("p", binom(n, centre)), ("u", poisson(n * centre))):
        low, high = limits(kind, n, centre)  # type: ignore[arg-type]
        assert spread.sf(high) <= TAIL * (1 + 1e-9)
        assert high == 0 or spread.sf(high - 1) > TAIL * (1 - 1e-9)
        assert low == 0 or spread.cdf(low - 1) < TAIL * (1 + 1e-9)


# Upper p-chart limit by the usual normal approximation at n 200, p 0.1: 0.1 + 3 sqrt(.09/200) = .1636,
# 32.7 faulty (any text on control charts, from memory); the exact limit lies beside it.
def test_limits_lie_beside_the_usual_ones() -> None:
    low, high = limits("p", 200, 0.1)
    assert abs(low - 7.3) < 3
    assert abs(high - 32.7) < 2


def test_a_month_outside_is_ringed() -> None:
    months = [Month(f"2025-{m:02d}", 20, 1, 1) for m in range(1, 12)] + [Month("2025-12", 20, 9, 9)]
    months.insert(5, Month("2025-00", 0, 0, 0))
    drawn = chart(months)
    assert [p.month for p in drawn.outside] == ["2025-12"]
    svg = str(chart_svg(drawn, 760, "a <title>"))
    assert svg.count('class="ring"') == 1
    assert svg.count('class="dot"') == 12
    assert "&lt;title&gt;" in svg
    assert drawn.few


@pytest.mark.parametrize("months", [[], [Month("2026-01", 0, 0, 0)], [Month("2026-01", 1, 0, 0)], [Month("2026-01", 1, 1, 4)]])  # fmt: skip
@pytest.mark.parametrize("kind", ["p", "u"])
def test_little_or_nothing_is_drawn_all_the_same(months: list[Month], kind: str) -> None:
    drawn = chart(months, kind)  # type: ignore[arg-type]
    svg = str(chart_svg(drawn, 316, "x"))
    assert "nan" not in svg
    assert "inf" not in svg
    assert drawn.outside == ()


def test_the_page_is_one_file_that_asks_nothing_of_a_network(
    tmp_path: Path, signer: Signer
) -> None:
    root = signed_job(tmp_path / "job", signer, month="2026-01", faults=[f"{LESSER}:F01"])
    found = gather([root])
    text = page(histories(found.judged), found, "p", keys_given=False, hidden=False)
    assert "A help to teach" in text
    assert "Small sample: 6 fittings" in text
    assert not re.findall(r'(?:src|href)="(?!#)', text)
    assert "<script" not in text
    assert "2026-01" in text
    for word in ("pass", "fail", "safe"):
        assert not re.search(rf"\b{word}(?:ed|es|s|ure)?\b", re.sub(r"<style>.*?</style>", "", text, flags=re.S), re.I)  # fmt: skip


def test_names_from_a_job_are_escaped(tmp_path: Path, signer: Signer) -> None:
    root = signed_job(tmp_path / "job", signer, month="2026-01", by="<b>A&B</b>")
    found = gather([root])
    text = page(histories(found.judged), found, "p", keys_given=False, hidden=False)
    assert "&lt;b&gt;A&amp;B&lt;/b&gt;" in text
    assert "<b>A" not in text


def test_one_folder_named_twice_counts_once(tmp_path: Path, signer: Signer) -> None:
    root = signed_job(tmp_path / "job", signer, month="2026-01")
    shutil.copytree(root, tmp_path / "elsewhere" / "job")
    assert gather([root, root / ".." / "job"]).signed == ["job"]
    both = gather([root, tmp_path / "elsewhere" / "job"])
    # A copy of a job is the same job: counting it twice would make few look like many.
    assert len(both.signed) == 1
    assert "copy of" in both.left_out[0].why
