"""The second look: nothing of a drawn fitting's states is told before it is judged."""

from __future__ import annotations

import json
import uuid
from pathlib import Path

import pytest

from audit.record.agreement import cohen_kappa
from audit.record.blind import draw
from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk, item_key
from tests.review.conftest import Pages


@pytest.fixture
def drawn(job: Path) -> Pages:
    desk = Desk(job, 0.5)
    pages = Pages(create_app(Review(desk), bounded=False).test_client(), desk, "A. Person")
    key = uuid.uuid4().hex
    assert pages.post("/do/name", {"name": "A. Person", "key": key}).status_code == 200
    return pages


def _drawn(pages: Pages) -> list[str]:
    state = pages.desk.record.state(pages.desk.basis().evidence)
    return [label for label in state.blind.fittings if state.blind.hides(label)]


def test_the_draw_is_recorded_and_can_be_repeated(drawn: Pages) -> None:
    entry = next(e for e in drawn.desk.record.entries() if e.kind == "blind-draw")
    labels = [f.label for f in drawn.desk.basis().checklist.fittings]
    assert tuple(entry.data["drawn"]) == draw(labels, 0.5, entry.data["seed"])
    assert len(entry.data["drawn"]) == 2
    drawn.desk.share = 0.1  # what a later call asks for does not change what was drawn
    page = drawn.get("/second-look").get_data(as_text=True)
    assert entry.data["seed"] in page
    assert "50 % of the fittings" in page


def test_states_of_a_drawn_fitting_are_nowhere(drawn: Pages) -> None:
    label = _drawn(drawn)[0]
    item = drawn.item("copper-beyond-terminal", label)
    subject = drawn.subject(item)
    page = drawn.get(f"/at/{subject.slug}")
    assert page.status_code == 302
    assert page.headers["Location"].endswith(f"/second-look/{subject.slug}")
    blind = drawn.get(page.headers["Location"]).get_data(as_text=True)
    for word in (
        'class="state',
        "#shape-flag",
        "is-flag",
        "1.8 ±",
        'class="over"',
        "ribbon",
        "data-box",
    ):
        assert word not in blind.replace('id="shape-flag"', ""), word
    assert drawn.get(f"/at/{subject.slug}/{item_key(item.id)}").status_code == 404
    assert (
        drawn.get(
            f"/marks/{next(k for k, p in drawn.desk.basis().photos.items() if p.fitting == label)}"
        ).status_code
        == 302
    )
    assert drawn.get(f"/news?at={subject.slug}").json["tokens"] == {}
    start = drawn.get("/").get_data(as_text=True)
    assert item_key(item.id) not in start
    assert drawn.show(item).status_code == 422
    assert drawn.decide(item, "agree").status_code == 422


def test_all_judged_the_states_are_shown_and_kappa_is_told(drawn: Pages) -> None:
    label = _drawn(drawn)[0]
    subject = drawn.subject(drawn.item("copper-beyond-terminal", label))
    state = drawn.desk.record.state(drawn.desk.basis().evidence)
    waiting = state.blind.to_judge[label]
    words = {"flag": "fault", "clear": "no fault", "unsure": "can't tell"}
    table = [[0] * 3 for _ in range(3)]
    order = ["fault", "no fault", "can't tell"]
    for n, identity in enumerate(waiting):
        tool = words[drawn.desk.basis().evidence.items[identity].state]
        mine = tool if n else next(w for w in order if w != tool)
        table[order.index(mine)][order.index(tool)] += 1
        body = {"item": item_key(identity), "judged": mine, "key": uuid.uuid4().hex}
        answer = drawn.post("/do/judge", body)
        assert answer.json["left"] == len(waiting) - n - 1
    assert drawn.get(f"/at/{subject.slug}").status_code == 200
    # The kappa itself is held to published worked examples where it is computed.
    want = cohen_kappa(table)
    told = " ".join(drawn.get("/second-look").get_data(as_text=True).split())
    assert f"<strong>{want.kappa:.2f}</strong> ({want.low:.2f} to {want.high:.2f})" in told
    assert f"<dd>{want.agreed}</dd>" in told


def test_a_judgement_is_made_once_and_of_drawn_items_alone(drawn: Pages) -> None:
    label = _drawn(drawn)[0]
    state = drawn.desk.record.state(drawn.desk.basis().evidence)
    key = item_key(state.blind.to_judge[label][0])
    first = {"item": key, "judged": "fault", "key": uuid.uuid4().hex}
    assert drawn.post("/do/judge", first).status_code == 200
    again = {"item": key, "judged": "no fault", "key": uuid.uuid4().hex}
    assert drawn.post("/do/judge", again).status_code == 422
    other = next(
        f.label
        for f in drawn.desk.basis().checklist.fittings
        if f.label not in state.blind.fittings
    )
    item = drawn.item("copper-beyond-terminal", other)
    body = {"item": item_key(item.id), "judged": "fault", "key": uuid.uuid4().hex}
    assert drawn.post("/do/judge", body).status_code == 422


def test_no_share_draws_nothing(pages: Pages) -> None:
    assert not [e for e in pages.desk.record.entries() if e.kind == "blind-draw"]
    assert "No fitting is drawn" in pages.get("/second-look").get_data(as_text=True)
    assert json.dumps(pages.get("/news").json)
