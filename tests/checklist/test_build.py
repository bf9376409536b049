"""Photos, declared facts and rules in one checklist. The real catalogue is used."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from audit.checklist.build import Inputs, build
from audit.checklist.models import Checklist, Item
from audit.checklist.seen import LinkedPhoto, fitting_seen
from audit.checklist.texts import texts
from audit.job.facts import JobFacts
from audit.measure.contract import CpcRecord, EndRecord, FindingRecord, LookRecord
from audit.rules.catalogue import photo_checks
from audit.settings import Settings
from tests.checklist.test_merge import finding, photo
from tests.report import samples

FACTS = {
    "job": {"name": "A job", "region": "gb-eng"},
    "room": [{"name": "Bathroom", "kind": "bathroom", "ceiling_m": 2.4, "above": "bedroom"}],
    "fitting": [
        {"label": "F01", "room": "Bathroom", "ip": "IP20", "from_bath_m": 0.2, "cables": 1},
        {"label": "F02", "room": "Bathroom", "cables": 1},
    ],
}
TWO_O_CLOCK = datetime(2026, 5, 1, 14, 0, tzinfo=timezone(timedelta(hours=1)))


def linked(*findings: FindingRecord, fitting: str | None = "F01", **more: object) -> LinkedPhoto:
    name = str(more.pop("name", "F01-inside.jpg"))
    record = photo(*findings, name=name).record
    return LinkedPhoto(name, record, fitting, "inside", "name", **more)  # type: ignore[arg-type]


def made(*photos: LinkedPhoto, **more: object) -> Checklist:
    facts = JobFacts.model_validate(FACTS)
    return build(Inputs(facts, photos, Settings(), "fingerprint", made_at=TWO_O_CLOCK, **more))  # type: ignore[arg-type]


def item(checklist: Checklist, check: str, of: str = "F01") -> Item:
    [found] = [i for i in checklist.items if i.check == check and i.subject.id == of]
    return found


def test_every_photo_check_has_its_views_and_its_request() -> None:
    assert set(texts().check) == set(photo_checks())
    assert {c.request for c in texts().check.values()} == set(texts().request)


def test_each_photo_check_is_asked_of_each_fitting() -> None:
    checklist = made()
    for check in photo_checks():
        for label in ("F01", "F02"):
            assert item(checklist, check, label).state == "missing"


def test_flag_carries_value_limit_evidence_and_weight() -> None:
    grip = finding("flag", value_mm=6.1, u95_mm=0.6, box_px=(1, 2, 3, 4))
    found = item(made(linked(grip)), "core-outside-grip")
    assert (found.state, found.weight, found.hold_point) == ("flag", "stop", "closing-up")
    assert found.value is not None
    assert (found.value.value, found.value.u95, found.value.limit) == (6.1, 0.6, 0.0)
    [evidence] = found.evidence
    assert (evidence.photo, evidence.of, evidence.box_px) == ("F01-inside.jpg", "c1", (1, 2, 3, 4))


def test_lighter_weight_is_taken_only_when_every_flag_carries_it() -> None:
    light = finding("flag", check="cpc-cut-short", weight="advise")
    heavy = finding("flag", check="cpc-cut-short")
    assert item(made(linked(light)), "cpc-cut-short").weight == "advise"
    assert item(made(linked(light, heavy)), "cpc-cut-short").weight == "stop"


def test_requests_open_with_the_caution_and_nothing_clear_asks() -> None:
    checklist = made(linked(finding("clear")))
    for i in checklist.items:
        assert (i.settle is None) == (i.request is None)
        if i.state == "clear":
            assert i.settle is None
        elif i.settle is not None:
            assert i.settle.startswith(texts().caution)
    assert item(checklist, "core-outside-grip").state == "clear"
    assert item(checklist, "core-outside-grip").said == "no fault seen in these photos"


def test_what_is_clear_by_facts_alone_does_not_speak_of_photos() -> None:
    facts_alone = [i for i in made().items if i.state == "clear" and not i.from_photos]
    assert facts_alone
    assert {i.said for i in facts_alone} == {"no fault seen in what was declared"}


def test_identities_are_unique_and_stable() -> None:
    first, second = made(), made(linked(finding("flag")))
    assert len({i.id for i in first.items}) == len(first.items)
    assert {i.id for i in first.items} <= {i.id for i in second.items}


@pytest.mark.parametrize("point", ["boarding", "closing-up"])
def test_hold_point_keeps_its_own_items_only(point: str) -> None:
    checklist = made(hold_point=point)
    assert {i.hold_point for i in checklist.items} == {point}
    assert len(checklist.items) < len(made().items)


def test_items_come_worst_first_within_a_fitting() -> None:
    states = [i.state for i in made(linked(finding("flag"), finding("clear"))).of("fitting", "F01")]
    order = ["flag", "unsure", "missing", "clear"]
    assert states == sorted(states, key=order.index)


def test_summary_counts_what_there_is() -> None:
    checklist = made(linked(finding("flag")), linked(fitting=None, name="x.jpg"))
    counts = checklist.summary.items
    assert counts.flag + counts.unsure + counts.missing + counts.clear == len(checklist.items)
    assert "core-outside-grip:F01" in checklist.summary.stops
    assert checklist.summary.photos == {"read": 2, "retake": 0, "failed": 0}
    assert [p.fitting for p in checklist.photos] == ["F01", None]


def test_a_copy_counts_once_but_is_listed() -> None:
    one = linked(finding("clear"))
    checklist = made(one, linked(finding("unsure"), name="copy.jpg", duplicate=True))
    assert item(checklist, "core-outside-grip").state == "clear"
    assert checklist.fittings[0].photos == ("F01-inside.jpg", "copy.jpg")


def test_time_is_written_as_utc() -> None:
    assert made().made_at == "2026-05-01T13:00:00Z"


def test_what_photos_showed_goes_to_the_rules() -> None:
    record = LookRecord(
        photo="a.jpg",
        sha256=None,
        size_px=(10, 10),
        outcome="read",
        usable=True,
        ends=(
            EndRecord(id="e1", cable="c1", colour="brown", ends_at="terminal"),
            EndRecord(id="e2", cable="c1", colour="bare", ends_at="terminal"),
            EndRecord(id="e3", cable="c1", colour="unknown", ends_at="hidden"),
        ),
        cpc=(CpcRecord(cable="c1", seen="bare"),),
    )
    poor = record.model_copy(update={"photo": "b.jpg", "outcome": "retake", "usable": False})
    seen = fitting_seen(
        "F01", [LinkedPhoto("a.jpg", record, "F01", "inside"), LinkedPhoto("b.jpg", poor, "F01")]
    )
    assert seen.views == {"inside"}
    assert [c.colour for c in seen.colours] == ["brown", "bare"]
    assert [c.seen for c in seen.cpc] == ["bare"]
    assert seen.earth_terminal is True
    assert seen.refused == ("b.jpg",)
    assert seen.cables is None


def test_only_cables_with_a_sheath_count_as_cables_seen() -> None:
    bare, whole = samples.cable(), samples.cable()
    bare = bare.model_copy(update={"reading": bare.reading[3:], "sheath": "unknown"})
    record = photo(name="a.jpg").record.model_copy(update={"cables": (whole, bare)})
    assert fitting_seen("F01", [LinkedPhoto("a.jpg", record, "F01", "inside")]).cables == 1


def test_now_has_a_zone() -> None:
    facts = JobFacts.model_validate(FACTS)
    assert Inputs(facts, (), Settings(), "x").made_at.tzinfo is UTC


def test_who_looks_at_opened_fittings_is_said() -> None:
    """Whoever reads that they must be looked at reads in the same breath by whom, and by what rules."""
    (looks,) = [c for c in texts().cautions if "looks at every opened fitting" in c]
    assert "a competent person looks" in looks and "by the rules of the place" in looks
    assert not any("yourself" in c for c in texts().cautions)
