"""The published schemas and the reference page are those of the models."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from audit.job.facts import HoldPointName, JobFacts
from audit.job.grammar import VIEWS
from audit.job.reference import PAGE, TABLES, renew
from audit.job.schema import schemas
from audit.job.shape import fields_of

from .test_fuzz import FULL
from .test_marks import GOOD

REFERENCE = Path(__file__).resolve().parents[2] / "docs" / "reference"
RENEW = "run: python -m audit.job.reference docs/reference"


@pytest.mark.parametrize("name", sorted(schemas()))
def test_a_published_schema_is_current_and_a_schema(name: str) -> None:
    text = (REFERENCE / name).read_text(encoding="utf-8")
    assert text == schemas()[name], RENEW
    Draft202012Validator.check_schema(json.loads(text))


def test_the_page_is_current() -> None:
    page = (REFERENCE / PAGE).read_text(encoding="utf-8")
    assert renew(page) == page, RENEW


def test_the_page_names_everything() -> None:
    page = (REFERENCE / PAGE).read_text(encoding="utf-8")
    for name in fields_of(JobFacts):
        assert f"`{name}" in page or f"[{name}" in page, name
    for model in TABLES.values():
        assert all(f"| `{field}` |" in page for field in fields_of(model))
    for word in (*VIEWS, *HoldPointName.__args__):  # type: ignore[attr-defined]
        assert f"`{word}`" in page


def test_the_job_schema_takes_a_good_job_and_refuses_bad_ones() -> None:
    check = Draft202012Validator(json.loads(schemas()["job.schema.json"]))
    good = tomllib.loads(FULL)
    good["circuit"][0].pop("dead_tests_at")  # TOML has times, JSON has texts for them
    assert list(check.iter_errors(good)) == []
    for change in (
        {"fitting": [{"label": "F01", "from_bath_m": -1}]},
        {"fitting": [{"room": "Bath"}]},
        {"fitting": [{"label": "F01", "lamp": 1}]},
        {"photo": [{"file": "x.jpg", "view": "insde"}]},
        {"settings": {"workers": 900}},
        {"settings": {"copper": 1}},
        {"schema": "lidoff.job/2"},
    ):
        assert not check.is_valid({**good, **change}), change


def test_the_marks_schema() -> None:
    check = Draft202012Validator(json.loads(schemas()["marks.schema.json"]))
    assert check.is_valid([GOOD])
    assert check.is_valid({"schema": "lidoff.marks/1", "marks": [GOOD]})
    assert not check.is_valid({"schema": "lidoff.marks/2", "marks": [GOOD]})
    assert not check.is_valid([{**GOOD, "kind": "gripp"}])
