"""What entries carry: checked when written, and again when read."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from audit.record.entries import is_utc, utc_text
from audit.record.errors import DecisionError
from audit.record.types import (
    Agree,
    Choice,
    Decision,
    Finds,
    Judged,
    Overrule,
    Retake,
    SeenOnSite,
)

T = TypeVar("T", bound=BaseModel)

MAX_TEXT = 4000
MAX_NAME = 200


def _clean(text: str) -> str:
    # Control, unassigned, surrogate and direction-changing characters can make a
    # text read otherwise than it was signed.
    odd = [c for c in text if c not in "\n\t" and unicodedata.category(c) in ("Cc", "Cs", "Cn")]
    if odd or any(c in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069" for c in text):
        raise ValueError("holds a character that does not print")
    return text


def _said(text: str) -> str:
    if not text.strip():
        raise ValueError("is empty")
    return _clean(text)


def _moment(text: str) -> str:
    if not is_utc(text):
        raise ValueError("is no moment in UTC")
    return text


Name = Annotated[str, Field(max_length=MAX_NAME), AfterValidator(_said)]
Text = Annotated[str, Field(max_length=MAX_TEXT), AfterValidator(_said)]
Note = Annotated[str, Field(max_length=MAX_TEXT), AfterValidator(_clean)]
Utc = Annotated[str, AfterValidator(_moment)]
Hash = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class _Payload(BaseModel):
    model_config = ConfigDict(frozen=True, extra="allow", strict=True)


class FileHash(_Payload):
    """One file and its SHA-256; null when it could not be read."""

    file: str = Field(max_length=1024)
    sha256: Hash | None


class ChecklistData(_Payload):
    """What a checklist was made from and what it holds."""

    checklist_sha256: Hash
    photos: list[FileHash]
    facts: list[FileHash]
    rules_sha256: Hash
    tool: dict[str, str]
    items: int = Field(ge=0)


class ShownData(_Payload):
    """An item was opened with its photos on screen."""

    item: str
    item_digest: Hash
    photos: list[str] = Field(max_length=100)


class DecisionData(_Payload):
    """One decision on one item."""

    item: str
    item_digest: Hash
    tool_state: str
    saw: list[Hash] = Field(max_length=64)
    choice: Choice
    reason: Text | None = None
    request: Text | None = None
    finds: Finds | None = None
    who: Name | None = None
    when: Utc | None = None
    note: Note | None = None

    def decision(self) -> Decision:
        """The decision itself.

        Raises
        ------
        ValueError
            When a field that this choice needs is missing.
        """
        match self.choice:
            case "agree":
                return Agree()
            case "overrule" if self.reason and self.finds:
                return Overrule(self.reason, self.finds)
            case "retake" if self.request:
                return Retake(self.request)
            case "seen on site" if self.who and self.when and self.finds:
                when = datetime.fromisoformat(self.when)
                return SeenOnSite(self.who, when, self.finds, self.note or "")
        raise ValueError(f"`{self.choice}` lacks what it needs")


class UndoData(_Payload):
    """A decision is taken back: what it had replaced counts again."""

    item: str
    of: Hash
    saw: list[Hash] = Field(max_length=64)


class DrawData(_Payload):
    """Which fittings are judged blind, and how they were drawn."""

    seed: str = Field(min_length=1, max_length=200)
    share: float = Field(ge=0, le=1)
    of: list[str]
    drawn: list[str]
    method: Literal["sha256(seed:label), lowest first"]


class JudgementData(_Payload):
    """One blind judgement."""

    item: str
    item_digest: Hash
    judged: Judged
    tool_state: str


class FrameUnit(_Payload):
    """One fitting that could be drawn, and its stratum."""

    fitting: str = Field(min_length=1, max_length=MAX_NAME)
    stratum: list[str] = Field(max_length=8)


class PickedCheck(_Payload):
    """One check that a spot check is about, with its weight at that time."""

    id: str = Field(min_length=1, max_length=MAX_NAME)
    weight: Literal["stop", "put right", "advise"]


class PickFrameData(_Payload):
    """A spot check is announced: all that decides who is drawn, before the draw."""

    method: str = Field(min_length=1, max_length=MAX_NAME)
    seed: str = Field(min_length=1, max_length=MAX_NAME)
    seed_from: Literal["given", "drawn"]
    frame: list[FrameUnit] = Field(min_length=1, max_length=20_000)
    frame_sha256: Hash
    strata_by: list[str] = Field(max_length=8)
    size: int = Field(ge=1)
    lot: int = Field(ge=1)
    lot_words: str = Field(max_length=MAX_NAME)
    asked: dict[str, Any]
    checks: list[PickedCheck] = Field(min_length=1, max_length=1000)
    tool: dict[str, str]
    widens: Hash | None = None


class PickData(_Payload):
    """A spot check is drawn: `announced` is the hash of its `pick-frame` entry."""

    announced: Hash
    picked: list[str] = Field(max_length=20_000)


def decision_data(decision: Decision, finds: Finds | None) -> dict[str, Any]:
    """The fields of a decision's entry that the decision itself gives."""
    match decision:
        case Agree():
            return {}
        case Overrule(reason=reason):
            return {"reason": reason, "finds": finds}
        case Retake(request=request):
            return {"request": request}
        case SeenOnSite():
            if decision.when.tzinfo is None:
                raise DecisionError("the time on site has no zone", next_step="give it with a zone")
            seen = {"who": decision.who, "when": utc_text(decision.when), "finds": decision.finds}
            return seen | ({"note": decision.note} if decision.note else {})


def checked(model: type[T], data: Mapping[str, Any]) -> T:
    """Hold what is to be recorded against its model.

    Raises
    ------
    DecisionError
        Naming the field.
    """
    try:
        return model.model_validate(dict(data))
    except ValidationError as exc:
        first = exc.errors(include_url=False, include_input=False)[0]
        field = ".".join(str(p) for p in first["loc"])
        what = first["msg"].removeprefix("Value error, ")
        raise DecisionError(
            f"{field}: {what}", next_step="nothing was recorded; correct it"
        ) from exc


def check_name(by: str) -> str:
    """Who did it: a name, never empty.

    Raises
    ------
    DecisionError
    """
    return checked(_Named, {"by": by}).by


class _Named(_Payload):
    by: Name
