"""Pages of a small job, asked for without a network."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from audit.checklist.models import Item
from audit.record.types import Standing
from audit.review.access import Access
from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk, Subject, item_key
from audit.review.pictures import photo_key
from tests.review.jobs import audit, copy_job

OWN = {"Origin": "http://localhost"}


@dataclass
class Pages:
    """One browser, as far as a test needs one."""

    client: FlaskClient
    desk: Desk
    name: str

    def get(self, path: str, **how: Any) -> TestResponse:
        return self.client.get(path, **how)

    def post(self, path: str, body: Any, **headers: str) -> TestResponse:
        return self.client.post(path, json=body, headers={**OWN, **headers})

    def item(self, check: str, label: str) -> Item:
        return self.desk.basis().evidence.items[f"{check}:{label}"]

    def subject(self, item: Item) -> Subject:
        return self.desk.basis().subject_of(item)

    def standing(self, item: Item) -> Standing:
        return self.desk.record.state(self.desk.basis().evidence).standings[item.id]

    def body(self, item: Item, **fields: Any) -> dict[str, Any]:
        now = self.standing(item)
        about = {"item": item_key(item.id), "digest": now.digest, "saw": list(now.token)}
        return {**about, "key": uuid.uuid4().hex, **fields}

    def show(self, item: Item) -> TestResponse:
        body = self.body(item, photos=[photo_key(p.file) for p in self.subject(item).photos])
        del body["saw"]
        return self.post("/do/shown", body)

    def decide(self, item: Item, choice: str, **fields: Any) -> TestResponse:
        return self.post("/do/decide", self.body(item, choice=choice, **fields))


@pytest.fixture(scope="session")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("base")


@pytest.fixture(autouse=True)
def _no_warming(monkeypatch: pytest.MonkeyPatch) -> None:
    """Opening the page of marks begins to read the photo; only some tests want that."""
    monkeypatch.setattr("audit.review.measure._warm", lambda *_: None)


@pytest.fixture
def job(base: Path, tmp_path: Path) -> Path:
    return copy_job(base, tmp_path / "job")


@pytest.fixture
def desk(job: Path) -> Desk:
    return Desk(job, 0.0)


Enter = Callable[..., Pages]


@pytest.fixture
def enter(desk: Desk) -> Enter:
    """Another browser, in which somebody said who they are."""
    app = create_app(Review(desk, recompute=audit), bounded=False)

    def come(name: str | None = "A. Person", **review: Any) -> Pages:
        made = create_app(Review(desk, recompute=audit, **review)) if review else app
        pages = Pages(made.test_client(), desk, name or "")
        if name:
            key = uuid.uuid4().hex
            assert pages.post("/do/name", {"name": name, "key": key}).status_code == 200
        return pages

    return come


@pytest.fixture
def pages(enter: Enter) -> Pages:
    return enter()


__all__ = ["OWN", "Access", "Enter", "Pages"]
