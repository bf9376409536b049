"""A small set of drawn photos, and its pages asked for without a network."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from audit.training.sets import from_folder
from audit.training.store import Results
from audit.training.web.app import create_app
from audit.training.web.context import Practice
from tests.training.samples import Clock, copy_set

OWN = {"Origin": "http://localhost"}


@dataclass
class Pages:
    """One browser, as far as a test needs one."""

    client: FlaskClient
    practice: Practice
    clock: Clock

    def get(self, path: str) -> TestResponse:
        return self.client.get(path)

    def key(self, title: str) -> str:
        return next(p.key for p in self.practice.set.photos.values() if p.title.endswith(title))

    def answer(self, title: str, kind: str, *marks: dict[str, Any], **more: Any) -> TestResponse:
        body = {"photo": self.key(title), "kind": kind, "marks": list(marks),
                "key": uuid.uuid4().hex, **more}  # fmt: skip
        return self.client.post("/do/answer", json=body, headers=OWN)


@pytest.fixture(scope="session")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("practice")


@pytest.fixture
def folder(base: Path, tmp_path: Path) -> Path:
    return copy_set(base, tmp_path / "set")


@pytest.fixture
def results(tmp_path: Path) -> Results:
    return Results(tmp_path / "own" / "practice.sqlite")


@pytest.fixture
def pages(folder: Path, results: Results) -> Pages:
    clock = Clock()
    practice = Practice(from_folder(folder), results, "A. Trainee", clock=clock)
    return Pages(create_app(practice, bounded=False).test_client(), practice, clock)
