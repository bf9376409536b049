"""Decisions of two copies that differ stand side by side until a further one settles them."""

from __future__ import annotations

import shutil
from pathlib import Path

from audit.record.merge import merge
from audit.record.types import Agree, Overrule
from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk
from tests.review.conftest import Pages

LIGHT = "advise"


def test_both_sides_are_shown_and_one_decision_settles_them(desk: Desk, tmp_path: Path) -> None:
    desk.adopted("Here")
    copy = tmp_path / "copy"
    shutil.copytree(desk.root, copy)
    other = Desk(copy, 0.0)
    item = next(
        i for i in desk.basis().checklist.items if i.weight == LIGHT and i.state == "missing"
    )
    evidence = desk.basis().evidence
    desk.record.decide(evidence, item.id, Agree(), by="Here", saw=(), key="here-0001")
    theirs = other.basis().evidence
    there = Overrule("it is on the van", "no fault")
    other.record.decide(theirs, item.id, there, by="There", saw=(), key="there-0001")
    merge(desk.record, evidence, other.record.entries(), name="pack.zip", by="Here")

    pages = Pages(create_app(Review(desk), bounded=False).test_client(), desk, "Here")
    pages.post("/do/name", {"name": "Here", "key": "name-0001"})
    assert "1 conflict between two copies" in " ".join(
        pages.get("/").get_data(as_text=True).split()
    )
    page = " ".join(pages.get(f"/at/{pages.subject(item).slug}").get_data(as_text=True).split())
    sides = page.split('<div class="sides">')[1].split("</div></div>")[0]
    assert "(Here," in sides
    assert "it is on the van (There," in sides
    assert pages.standing(item).status == "conflict"
    assert "No two copies differ</strong>: 1 in the way" in " ".join(
        pages.get(f"/sign-off/{item.hold_point}").get_data(as_text=True).split()
    )
    half = pages.body(item, choice="agree")
    half["saw"] = half["saw"][:1]
    assert pages.post("/do/decide", half).status_code == 409
    assert (
        pages.decide(item, "overrule", reason="it was brought", finds="no fault").status_code == 200
    )
    assert pages.standing(item).status == "decided"
