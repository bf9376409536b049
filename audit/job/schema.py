"""JSON Schemas of the files a job is written in, made from the models.

`python -m audit.job.reference docs/reference` writes them; a test holds the
written ones to the models. `job.schema.json` describes `job.toml` as its TOML
reads into tables, `fitting.schema.json` one row of `fittings.csv` once its
cells are read, `declaration.schema.json` one row of `declarations.csv`, `marks.schema.json` a file of marks.
"""

from __future__ import annotations

import json
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema

from audit.job.declaration import Declaration
from audit.job.facts import JobFacts
from audit.job.fitting import Fitting
from audit.job.marks import SCHEMA, Mark
from audit.settings import Settings


def _of(model: type[BaseModel]) -> dict[str, Any]:
    return {
        "$schema": GenerateJsonSchema.schema_dialect,
        **model.model_json_schema(by_alias=True, mode="validation"),
    }


def job_schema() -> dict[str, Any]:
    """Schema of `job.toml`, the settings it may override included."""
    schema = _of(JobFacts)
    overrides = Settings.model_json_schema()
    schema["properties"]["settings"] = {
        "type": "object",
        "description": schema["properties"]["settings"].get("description", ""),
        "properties": overrides["properties"],
        "additionalProperties": False,
    }
    return schema


def marks_schema() -> dict[str, Any]:
    """Schema of a file of marks: a list, bare or under `marks`."""
    mark = _of(Mark)
    dialect, definitions = mark.pop("$schema"), mark.pop("$defs", {})
    marks = {"type": "array", "items": {"$ref": "#/$defs/Mark"}}
    wrapped = {
        "type": "object",
        "properties": {"schema": {"const": SCHEMA}, "marks": marks},
        "required": ["schema", "marks"],
    }
    return {
        "$schema": dialect,
        "title": "Marks",
        "anyOf": [wrapped, marks],
        "$defs": {**definitions, "Mark": mark},
    }


def schemas() -> dict[str, str]:
    """File names and texts of all schemas."""
    all_of_them = {
        "job": job_schema(),
        "fitting": _of(Fitting),
        "declaration": _of(Declaration),
        "marks": marks_schema(),
    }
    return {
        f"{name}.schema.json": json.dumps(body, indent=2, ensure_ascii=False) + "\n"
        for name, body in all_of_them.items()
    }
