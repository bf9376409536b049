"""The start page: what stops it, worst first, and as quick for a large job."""

from __future__ import annotations

import re
from pathlib import Path

from audit.checklist.models import Checklist
from audit.record.evidence import CHECKLIST
from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk, item_key
from audit.review.rows import overview
from tests.review.conftest import Pages
from tests.review.jobs import copy_job

LARGE = 300
PHOTOS_EACH = 3


def test_worst_comes_first(pages: Pages) -> None:
    basis = pages.desk.basis()
    view = overview(basis, pages.desk.record.state(basis.evidence))
    flagged = [sum(s.item.state == "flag" for s in r.stops) for r in view.fittings]
    assert flagged == sorted(flagged, reverse=True)
    assert flagged[0] > flagged[-1]
    start = pages.get("/").get_data(as_text=True)
    order = [start.index(f">Fitting {r.subject.id}</a></th>") for r in view.fittings]
    assert order == sorted(order)


def test_what_stops_it_is_named_and_leads_to_its_item(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    start = pages.get("/").get_data(as_text=True)
    link = f"/at/{pages.subject(item).slug}#{item_key(item.id)}"
    assert link in start
    assert f'id="{item_key(item.id)}"' in pages.get(link.split("#")[0]).get_data(as_text=True)


def test_what_is_left_counts_down(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")

    def left() -> int:
        text = pages.get("/").get_data(as_text=True)
        return sum(int(n) for n in re.findall(r"<strong>(\d+) left to decide", text))

    before = left()
    assert before == len(pages.desk.basis().checklist.items)
    pages.show(item)
    pages.decide(item, "agree")
    assert left() == before - 1
    pages.post("/do/undo", pages.body(item))
    assert left() == before


def test_clear_is_never_told_as_a_result(pages: Pages) -> None:
    for slug in pages.desk.basis().subjects:
        text = pages.get(f"/at/{slug}").get_data(as_text=True)
        shown = re.sub(r"<[^>]+>", " ", text)
        assert not re.search(r"\b(pass|passed|failed|safe)\b", shown, re.IGNORECASE)
        assert not re.search(r"</svg>\s*clear\b", text)


def enlarge(root: Path, fittings: int) -> None:
    """The same job with so many fittings and photos, without reading any."""
    path = root / CHECKLIST
    small = Checklist.model_validate_json(path.read_bytes())
    pattern = small.fittings[0]
    items = [
        i for i in small.items if i.subject.kind == "fitting" and i.subject.id == pattern.label
    ]
    made_items, made_fittings, photos = [], [], []
    source = next(p for p in small.photos if p.file == pattern.photos[0])
    for n in range(fittings):
        label = f"L{n:03d}"
        files = tuple(f"{label}-{k}.jpg" for k in range(PHOTOS_EACH))
        made_fittings.append(pattern.model_copy(update={"label": label, "photos": files}))
        photos += [source.model_copy(update={"file": f, "fitting": label}) for f in files]
        for item in items:
            subject = item.subject.model_copy(update={"id": label})
            made_items.append(
                item.model_copy(update={"id": f"{item.check}:{label}", "subject": subject})
            )
    large = small.model_copy(
        update={
            "fittings": tuple(made_fittings), "photos": tuple(photos), "items": tuple(made_items),
        }
    )  # fmt: skip
    path.write_text(large.to_json(), encoding="utf-8")


def test_a_large_job_opens_whole(base: Path, tmp_path: Path) -> None:
    """All 300 fittings are on the page; how quickly is told by tests/benchmarks/bench_review.py."""
    large = copy_job(base, tmp_path / "large")
    enlarge(large, LARGE)
    desk = Desk(large, 0.0)
    pages = Pages(create_app(Review(desk), bounded=False).test_client(), desk, "A")
    pages.post("/do/name", {"name": "A. Person", "key": "k" * 12})
    text = pages.get("/").get_data(as_text=True)
    assert all(f">Fitting L{n:03d}</a>" in text for n in range(LARGE))
