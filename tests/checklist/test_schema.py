"""The published schema is the one the models give. Judged by `jsonschema` (JSON Schema 2020-12)."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from audit.checklist.models import Checklist
from audit.checklist.schema import schema_text
from tests.report import samples

PUBLISHED = Path(__file__).parents[2] / "docs" / "reference" / "checklist.schema.json"


def test_published_schema_is_current() -> None:
    assert PUBLISHED.read_text(encoding="utf-8") == schema_text()


def test_a_checklist_satisfies_the_published_schema(tmp_path: Path) -> None:
    schema = json.loads(PUBLISHED.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    data = json.loads(samples.checklist(samples.write_photo(tmp_path / "a.jpg")).to_json())
    jsonschema.validate(data, schema)
    data["confirmed"] = True
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data, schema)


def test_json_comes_back_the_same(tmp_path: Path) -> None:
    checklist = samples.checklist(samples.write_photo(tmp_path / "a.jpg"))
    assert Checklist.model_validate_json(checklist.to_json()) == checklist
