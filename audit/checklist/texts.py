"""The checklist's wording and the views each photo check needs, from `models/checklist.toml`."""

from __future__ import annotations

from functools import cache
from typing import Literal

from pydantic import BaseModel, ConfigDict

from audit.resources import load_toml


class _Texts(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class PhotoCheck(_Texts):
    """What one photo check needs.

    `views` can show it; `request` names the photo that settles it; `counts`
    tells whether cables or core ends must all have been found.
    """

    views: tuple[str, ...]
    request: str
    counts: Literal["cables", "ends"]


class Texts(_Texts):
    """All of `models/checklist.toml`."""

    schema_: str
    caution: str
    otherwise: str
    unconfirmed: str
    aid: str
    cautions: tuple[str, ...]
    cannot_show: tuple[str, ...]
    request: dict[str, str]
    check: dict[str, PhotoCheck]

    def settle(self, request: str) -> str:
        """Word the request for a photo: the caution opens it, the other way out ends it."""
        return f"{self.caution} {request} {self.otherwise}"


@cache
def texts() -> Texts:
    """Read the shipped texts.

    Raises
    ------
    ModelsError
        When the file is missing or not TOML.
    """
    data = dict(load_toml("checklist.toml"))
    data["schema_"] = data.pop("schema")
    return Texts.model_validate(data)
