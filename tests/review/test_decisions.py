"""Deciding: what is asked for before a decision counts, and what is written."""

from __future__ import annotations

import uuid

import pytest

from audit.checklist.texts import texts
from audit.record.types import Overrule, Retake, SeenOnSite
from audit.review.desk import item_key
from tests.review.conftest import Enter, Pages


def test_a_stop_item_is_decided_only_after_it_was_on_screen_with_its_photo(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    assert (item.state, item.weight) == ("flag", "stop")
    refused = pages.decide(item, "agree")
    assert refused.status_code == 422
    assert "on screen" in refused.json["what"]
    assert pages.standing(item).status == "undecided"
    assert pages.show(item).status_code == 200
    assert pages.decide(item, "agree").status_code == 200
    assert pages.standing(item).finds_fault


def test_another_items_photo_on_screen_does_not_count(pages: Pages) -> None:
    item, other = pages.item("core-outside-grip", "F01"), pages.item("core-outside-grip", "F03")
    body = pages.body(item, photos=[p.file for p in pages.subject(other).photos])
    del body["saw"]
    assert pages.post("/do/shown", body).status_code == 422
    assert pages.decide(item, "agree").status_code == 422


def test_what_one_reviewer_saw_does_not_count_for_another(enter: Enter) -> None:
    first, second = enter("First"), enter("Second")
    item = first.item("core-outside-grip", "F01")
    first.show(item)
    assert second.decide(item, "agree").status_code == 422
    assert first.decide(item, "agree").status_code == 200


def test_a_lighter_item_needs_no_showing(pages: Pages) -> None:
    item = next(
        i for i in pages.desk.basis().checklist.items if i.weight == "advise" and i.state != "clear"
    )
    assert pages.decide(item, "agree").status_code == 200


def test_overruling_needs_a_reason_and_a_finding_where_the_tool_has_none(pages: Pages) -> None:
    flag = pages.item("copper-beyond-terminal", "F01")
    pages.show(flag)
    assert pages.decide(flag, "overrule", reason="  ").status_code == 422
    assert pages.decide(flag, "overrule", reason="a ferrule").status_code == 200
    decision = pages.standing(flag).decision
    assert decision is not None
    assert decision.decision == Overrule("a ferrule", "no fault")
    unsure = next(
        i for i in pages.desk.basis().checklist.items if i.state == "unsure" and i.weight != "stop"
    )
    refused = pages.decide(unsure, "overrule", reason="seen it")
    assert "fault is there" in refused.json["what"]
    assert pages.decide(unsure, "overrule", reason="seen it", finds="fault").status_code == 200


def test_a_request_keeps_the_caution_whatever_is_taken_out_of_it(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    pages.show(item)
    assert pages.decide(item, "retake", request="  ").status_code == 422
    assert pages.decide(item, "retake", request="Open it and pull the cable.").status_code == 200
    standing = pages.standing(item)
    assert standing.decision is not None
    assert isinstance(standing.decision.decision, Retake)
    assert standing.decision.decision.request.startswith(texts().caution)
    shown = pages.get("/requests").get_data(as_text=True)
    assert "Open it and pull the cable." in shown
    # The sequence that guidance on safe isolation teaches (HSE HSG85, read in secondary texts).
    steps = ("isolated", "locked off and labelled", "proved the indicator", "proved dead")
    at = [shown.index(s) for s in steps]
    assert at == sorted(at)


def test_the_words_offered_for_a_request_open_with_the_caution(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    page = pages.get(f"/at/{pages.subject(item).slug}").get_data(as_text=True)
    offered = page.split(f'id="{item_key(item.id)}-request"')[1].split("</textarea>")[0]
    assert texts().caution.split(",")[0] in offered
    assert offered.index("Ask only for what can be seen") < offered.index("One sharp photo")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"who": "", "when": "2026-01-01T10:00:00Z", "finds": "fault"}, "who saw it"),
        ({"who": "B", "when": None, "finds": "fault"}, "when it was seen"),
        ({"who": "B", "when": "2999-01-01T10:00:00Z", "finds": "fault"}, "future"),
        ({"who": "B", "when": "2026-01-01T10:00:00", "finds": "fault"}, "when"),
        ({"who": "B", "when": "2026-01-01T10:00:00Z"}, "what was seen"),
    ],
)
def test_seen_on_site_says_who_when_and_what(
    pages: Pages, fields: dict[str, str], said: str
) -> None:
    item = pages.item("core-outside-grip", "F01")
    pages.show(item)
    answer = pages.decide(item, "seen on site", **fields)
    assert answer.status_code == 422
    assert said in answer.json["what"]
    assert pages.standing(item).status == "undecided"


def test_a_time_on_site_is_kept_as_utc(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    pages.show(item)
    at = "2026-05-31T14:05:00+01:00"
    assert (
        pages.decide(item, "seen on site", who="B. Other", when=at, finds="no fault").status_code
        == 200
    )
    found = pages.standing(item).decision
    assert found is not None
    assert isinstance(found.decision, SeenOnSite)
    assert found.decision.when.isoformat() == "2026-05-31T13:05:00+00:00"


def test_taking_back_is_a_further_entry(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    pages.show(item)
    pages.decide(item, "agree")
    before = pages.desk.record.entries()
    assert pages.post("/do/undo", pages.body(item)).status_code == 200
    after = pages.desk.record.entries()
    assert after[: len(before)] == before
    assert after[-1].kind == "undo"
    assert pages.standing(item).status == "undecided"


def test_the_same_act_sent_twice_is_written_once(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    pages.show(item)
    body = pages.body(item, choice="agree")
    assert pages.post("/do/decide", body).status_code == 200
    again = pages.post("/do/decide", body)
    decisions = [e for e in pages.desk.record.entries() if e.kind == "decision"]
    assert again.status_code == 200
    assert len(decisions) == 1


def test_two_browsers_are_shown_what_the_other_decided(enter: Enter) -> None:
    one, two = enter("One"), enter("Two")
    item = one.item("core-outside-grip", "F01")
    one.show(item)
    two.show(item)
    late = two.body(item, choice="overrule", reason="I hold otherwise")
    assert one.decide(item, "agree").status_code == 200
    refused = two.post("/do/decide", late)
    assert refused.status_code == 409
    assert "agreed: the fault is there (One" in refused.json["html"].replace("Agreed", "agreed")
    assert one.standing(item).finds_fault
    late = two.body(item, choice="overrule", reason="I hold otherwise")
    assert two.post("/do/decide", late).status_code == 200
    assert not one.standing(item).finds_fault


def test_a_decision_on_an_item_as_it_no_longer_is_is_refused(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    pages.show(item)
    body = pages.body(item, choice="agree", digest="0" * 64)
    assert pages.post("/do/decide", body).status_code == 409
    assert pages.standing(item).status == "undecided"


def test_nothing_decides_more_than_one_item(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    body = pages.body(item, choice="agree")
    for several in ([body, body], {**body, "item": [body["item"]]}, {**body, "items": ["all"]}):
        assert pages.post("/do/decide", several).status_code == 422
    rules = [str(r) for r in pages.client.application.url_map.iter_rules()]
    assert not [r for r in rules if "all" in r.split("/")]


def test_nobody_decides_without_a_name(enter: Enter) -> None:
    nobody = enter(None)
    item = nobody.item("core-outside-grip", "F01")
    assert nobody.decide(item, "agree").status_code == 422
    assert nobody.get("/").headers["Location"].startswith("/you")
    bad = nobody.post("/do/name", {"name": " \u202e ", "key": uuid.uuid4().hex})
    assert bad.status_code == 422


def test_news_tells_which_items_moved(enter: Enter) -> None:
    one, two = enter("One"), enter("Two")
    item = one.item("core-outside-grip", "F01")
    at = one.subject(item).slug
    before = two.get(f"/news?at={at}").json
    one.show(item)
    one.decide(item, "agree")
    after = two.get(f"/news?at={at}").json
    moved = {k for k in after["tokens"] if after["tokens"][k] != before["tokens"][k]}
    assert moved == {item_key(item.id)}
    assert after["seq"] > before["seq"]
