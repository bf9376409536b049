"""Bodies of requests: JSON of a known shape, or one clear line."""

from __future__ import annotations

from typing import TypeVar

from flask import request
from pydantic import BaseModel, ValidationError

from audit.record.errors import DecisionError

Body = TypeVar("Body", bound=BaseModel)


def read_body(model: type[Body]) -> Body:
    """Read the request's body.

    Raises
    ------
    DecisionError
        Naming the field that is wrong.
    """
    try:
        return model.model_validate_json(request.get_data(cache=False))
    except ValidationError as exc:
        first = exc.errors(include_url=False, include_input=False)[0]
        field = ".".join(str(p) for p in first["loc"]) or "the request"
        raise DecisionError(
            f"{field[:80]}: {first['msg'].lower()}", next_step="nothing was recorded; correct it"
        ) from exc
