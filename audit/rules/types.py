"""Words and values of the rule catalogue: states, weights, checks, items, what photos showed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

Scalar = str | int | float | bool | None
InputValue = Scalar | tuple[Scalar, ...]


class State(StrEnum):
    """What the tool holds of an item."""

    FLAG = "flag"
    CLEAR = "clear"
    UNSURE = "unsure"
    MISSING = "missing"


class Weight(StrEnum):
    """How bad a flag is."""

    STOP = "stop"
    PUT_RIGHT = "put right"
    ADVISE = "advise"


class HoldPoint(StrEnum):
    """When an item must be settled: before the ceiling closes, or before fittings go up."""

    BOARDING = "boarding"
    CLOSING_UP = "closing-up"


class Verified(StrEnum):
    """How far a source was verified for this catalogue."""

    PRIMARY = "primary"
    """The standard or data file itself was read or computed from."""
    SECONDARY = "secondary"
    """Read in a text that tells what the standard says."""
    SINGLE = "single"
    """Read in informal texts only, such as a forum."""
    MEMORY = "memory"
    """Nothing was read."""
    PRACTICE = "practice"
    """Common practice, no source."""


_NUMBER = re.compile(r"^(BS|IEC|BS EN|ISO|HD)\b.*\d$")

OfKind = Literal["fitting", "room", "circuit", "job"]

VERIFIED_WORDS: Mapping[Verified, str] = {
    Verified.PRIMARY: "read in the source itself",
    Verified.SECONDARY: "read in a secondary text",
    Verified.SINGLE: "read in an informal text only",
    Verified.MEMORY: "from memory",
    Verified.PRACTICE: "common practice, no source",
}


@dataclass(frozen=True, slots=True)
class Source:
    """Where a rule or a value comes from.

    Parameters
    ----------
    standard, edition, clause : str
        Empty where there is none (common practice).
    verified : Verified
    gist : str
        What it says, in a few words of ours.
    """

    standard: str
    edition: str
    clause: str
    verified: Verified
    gist: str = ""

    def __str__(self) -> str:
        if self.verified is Verified.PRACTICE:
            return f"{self.gist + ': ' if self.gist else ''}{VERIFIED_WORDS[self.verified]}"
        # A standard's number takes its year after a colon: BS 7671:2018+A2:2022.
        dated = _NUMBER.search(self.standard) and self.edition[:1].isdigit()
        name = (":" if dated else " ").join(x for x in (self.standard, self.edition) if x)
        place = f", {self.clause}" if self.clause else ""
        return f"{name}{place} ({VERIFIED_WORDS[self.verified]})"


@dataclass(frozen=True, slots=True)
class Value:
    """One number or word of a region, with its source.

    Parameters
    ----------
    id : str
    x : float, str or bool
        The value.
    unit : str
    source : Source
    region : str
        Region, or house rules, that gave it.
    stricter : {'higher', 'lower', ''}
        Which way a house rule may move it; empty: not at all.
    """

    id: str
    x: float | str | bool
    unit: str
    source: Source
    region: str
    stricter: Literal["higher", "lower", ""] = ""

    @property
    def n(self) -> float:
        """The value as a number.

        Raises
        ------
        TypeError
            When it is a word.
        """
        if isinstance(self.x, str):
            raise TypeError(f"{self.id} is not a number")
        return float(self.x)


@dataclass(frozen=True, slots=True)
class Check:
    """One question of the catalogue.

    Parameters
    ----------
    id : str
    topic : str
        Subject: `zones`, `ratings`, `fire`, `cpc`, `joints`, `circuit`, `paperwork`.
    asks : {'fitting', 'room', 'circuit', 'job'}
        What it is asked of.
    question, why : str
        The question, and why it matters.
    weight : Weight
        Of a flag, at most.
    hold_point : HoldPoint
    sources : tuple of Source
    inputs : tuple of str
        Declared facts and photo findings used.
    values : tuple of str
        Values of the region used.
    computed : str
        How the answer is found.
    settle : str
        What evidence settles it.
    regions : tuple of str
        Regions it is asked in, with all that are built on them.
    photo : bool
        Whether it is answered by what photos show (merged by the checklist).
    """

    id: str
    topic: str
    asks: OfKind
    question: str
    why: str
    weight: Weight
    hold_point: HoldPoint
    sources: tuple[Source, ...]
    inputs: tuple[str, ...]
    values: tuple[str, ...]
    computed: str
    settle: str
    regions: tuple[str, ...]
    photo: bool = False


@dataclass(frozen=True, slots=True)
class PhotoRef:
    """A place in a photo.

    Parameters
    ----------
    photo : str
        File name in `photos/`.
    box_px : tuple of 4 float, or None
        x0, y0, x1, y1 in px of the upright photo.
    finding : int or None
        Index of the finding in the photo's look output.
    """

    photo: str
    box_px: tuple[float, float, float, float] | None = None
    finding: int | None = None


CpcSeenAs = Literal["sleeved", "bare", "cut_short", "none_comes_out", "not_seen"]


@dataclass(frozen=True, slots=True)
class CpcSeen:
    """What one photo showed of one cable's CPC."""

    seen: CpcSeenAs
    ref: PhotoRef

    @property
    def words(self) -> str:
        """How it was seen, to follow "shows it"."""
        if self.seen == "none_comes_out":
            return "not coming out of the sheath"
        return self.seen.replace("_", " ")


@dataclass(frozen=True, slots=True)
class ColourSeen:
    """The colour of one core end seen in a photo."""

    colour: str
    ref: PhotoRef


@dataclass(frozen=True, slots=True)
class FittingSeen:
    """What the photos of one fitting showed, for rules that hold it against declared facts.

    Parameters
    ----------
    fitting : str
        Label.
    views : frozenset of str
        Views of photos that could be used.
    cpc : tuple of CpcSeen
    colours : tuple of ColourSeen
        Core ends (or cores) whose colour was told.
    cables : int or None
        Most cables seen in one photo.
    cables_ref : PhotoRef or None
    earth_terminal : bool or None
        Whether a green-and-yellow or bare core was seen to enter a terminal.
    refused : tuple of str
        Photos that were too poor to use.
    """

    fitting: str
    views: frozenset[str] = frozenset()
    cpc: tuple[CpcSeen, ...] = ()
    colours: tuple[ColourSeen, ...] = ()
    cables: int | None = None
    cables_ref: PhotoRef | None = None
    earth_terminal: bool | None = None
    refused: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Item:
    """A check asked of one thing in one job.

    Parameters
    ----------
    id : str
        Stable: `check:of`.
    check : str
    of_kind : {'fitting', 'room', 'circuit', 'job'}
    of : str
        Label of the fitting, name of the room, identity of the circuit, or `job`.
    state : State
    weight : Weight
        Of this flag; never `stop` where the limit is from memory alone.
    hold_point : HoldPoint
    why : str
        One or two sentences, with the numbers put in.
    source : str
    settle : str
        What would settle it.
    verified : Verified
        The weakest source that the state rests on.
    region_used : str
    needs_edition_check : bool
        Whether the source wants checking in the edition that the job follows.
    value, u95 : float or None
    unit : str
    inputs : mapping
        Facts and values that were used, by name.
    evidence : tuple of PhotoRef
    topic : str

    Raises
    ------
    ValueError
        When a flag that rests on memory alone is given weight `stop`.
    """

    id: str
    check: str
    of_kind: OfKind
    of: str
    state: State
    weight: Weight
    hold_point: HoldPoint
    why: str
    source: str
    settle: str
    verified: Verified
    region_used: str
    needs_edition_check: bool = False
    value: float | None = None
    u95: float | None = None
    unit: str = ""
    inputs: Mapping[str, InputValue] = field(default_factory=dict)
    evidence: tuple[PhotoRef, ...] = ()
    topic: str = ""

    def __post_init__(self) -> None:
        if self.weight is Weight.STOP and self.verified in (Verified.MEMORY, Verified.SINGLE):
            raise ValueError(f"{self.id}: nothing from memory alone weighs 'stop'")


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a rule answers for one thing, before it becomes an item.

    Parameters
    ----------
    state : State
    why : str
    uses : tuple of Value
        Values of the region that decided.
    inputs : mapping
    value, u95, unit
        As in `Item`.
    weight : Weight or None
        A lighter weight than the check's, where the case is lighter.
    settle : str
        In place of the check's own text.
    evidence : tuple of PhotoRef
    """

    state: State
    why: str
    uses: tuple[Value, ...] = ()
    inputs: Mapping[str, InputValue] = field(default_factory=dict)
    value: float | None = None
    u95: float | None = None
    unit: str = ""
    weight: Weight | None = None
    settle: str = ""
    evidence: tuple[PhotoRef, ...] = ()
