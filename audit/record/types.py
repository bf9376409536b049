"""Words of the record: decisions, standings, progress, and what a sign-off asks for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from audit.checklist.models import HoldPoint, Item

Choice = Literal["agree", "overrule", "retake", "seen on site"]
Finds = Literal["fault", "no fault"]
"""What a person says of an item, where the tool's state does not say it."""
Status = Literal["undecided", "decided", "again", "conflict"]
"""`again`: the item changed since it was decided. `conflict`: two copies decided differently."""
Judged = Literal["fault", "no fault", "can't tell"]
SignOffState = Literal["none", "signed", "stale"]


@dataclass(frozen=True, slots=True)
class Agree:
    """The person holds what the tool holds: the fault is there, or it can't be told, or none is seen."""

    choice: Choice = field(default="agree", init=False)


@dataclass(frozen=True, slots=True)
class Overrule:
    """The person holds otherwise.

    Parameters
    ----------
    reason : str
        Never empty.
    finds : {'fault', 'no fault'}, optional
        Needed for an item that is unsure or missing; of a flag it is `no fault`, of an item
        without a fault `fault`.
    """

    reason: str
    finds: Finds | None = None
    choice: Choice = field(default="overrule", init=False)


@dataclass(frozen=True, slots=True)
class Retake:
    """Another photo is asked for.

    Parameters
    ----------
    request : str
        What the fitter is sent; `retake_request(item)` words it.
    """

    request: str
    choice: Choice = field(default="retake", init=False)


@dataclass(frozen=True, slots=True)
class SeenOnSite:
    """Somebody competent looked at it on site.

    Parameters
    ----------
    who : str
    when : datetime
        With a zone.
    finds : {'fault', 'no fault'}
    note : str
    """

    who: str
    when: datetime
    finds: Finds
    note: str = ""
    choice: Choice = field(default="seen on site", init=False)


Decision = Agree | Overrule | Retake | SeenOnSite


@dataclass(frozen=True, slots=True)
class Decided:
    """A decision as it stands in the record.

    Parameters
    ----------
    id : str
        Hash of its entry.
    seq : int or None
        Of this record's entry; None where it came in with a merge.
    item : str
    item_digest : str
        Digest of the item as it was when it was decided.
    decision : Decision
    by : str
    at : str
        UTC, ISO 8601.
    tool_state : str
        The item's state at that time.
    merged_by : int or None
        Sequence number of the merge it came in with.
    taken_back : bool
        On one side of a conflict: this copy took the decision back.
    """

    id: str
    seq: int | None
    item: str
    item_digest: str
    decision: Decision
    by: str
    at: str
    tool_state: str
    merged_by: int | None = None
    taken_back: bool = False


@dataclass(frozen=True, slots=True)
class Standing:
    """How one item stands.

    Parameters
    ----------
    item : Item
    digest : str
        Of the item as the checklist has it now.
    status : {'undecided', 'decided', 'again', 'conflict'}
    decision : Decided or None
        The one that counts (`decided`), or the last one (`again`).
    sides : tuple of Decided
        For `conflict`: what each copy decided; else empty.
    token : tuple of str
        Give it back as `saw`.
    shown_to : frozenset of str
        Who had this item as it is now open with its photo on screen.
    """

    item: Item
    digest: str
    status: Status
    decision: Decided | None
    sides: tuple[Decided, ...]
    token: tuple[str, ...]
    shown_to: frozenset[str]

    @property
    def finds_fault(self) -> bool:
        """Whether a person holds that the fault is there, and nothing closed it since."""
        if self.status != "decided" or self.decision is None:
            return False
        decision = self.decision.decision
        match decision:
            case Agree():
                return self.item.state == "flag"
            case Overrule() | SeenOnSite():
                return decision.finds == "fault"
            case _:
                return False

    @property
    def retake_outstanding(self) -> bool:
        """Whether a photo was asked for and has not come."""
        return (
            self.status == "decided"
            and self.decision is not None
            and isinstance(self.decision.decision, Retake)
        )

    @property
    def left_open(self) -> bool:
        """Decided, but by agreeing that it can't be told or that nothing was supplied."""
        return (
            self.status == "decided"
            and self.decision is not None
            and isinstance(self.decision.decision, Agree)
            and self.item.state in ("unsure", "missing")
        )


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the decisions of one hold point (or all) have come; tuples hold item ids.

    Parameters
    ----------
    items : int
    decided : int
        With status `decided`.
    to_decide : tuple of str
        Undecided.
    again : tuple of str
    conflicts : tuple of str
    standing_stops : tuple of str
        Faults of weight stop that a person holds to be there.
    retakes : tuple of str
        Outstanding.
    left_open : tuple of str
        Decided by agreeing that it can't be told, or that nothing was supplied.
    """

    items: int
    decided: int
    to_decide: tuple[str, ...]
    again: tuple[str, ...]
    conflicts: tuple[str, ...]
    standing_stops: tuple[str, ...]
    retakes: tuple[str, ...]
    left_open: tuple[str, ...]

    @property
    def may_sign(self) -> bool:
        """Whether nothing stands in the way of the sign-off."""
        return not (
            self.to_decide or self.again or self.conflicts or self.standing_stops or self.retakes
        )

    @property
    def in_the_way(self) -> Mapping[str, tuple[str, ...]]:
        """What stands in the way of the sign-off, in words, with the items; empty when nothing."""
        words = {
            "not decided": self.to_decide,
            "changed since it was decided: decide again": self.again,
            "decided differently in two copies": self.conflicts,
            "a fault that stops it stands": self.standing_stops,
            "another photo is asked for": self.retakes,
        }
        return {k: v for k, v in words.items() if v}


@dataclass(frozen=True, slots=True)
class SignOffStatus:
    """The latest sign-off of a hold point.

    Parameters
    ----------
    hold_point : {'boarding', 'closing-up'}
    state : {'none', 'signed', 'stale'}
    reasons : tuple of str
        Why it is stale.
    seq : int or None
    by, at, statement, public_key : str or None
    """

    hold_point: HoldPoint
    state: SignOffState
    reasons: tuple[str, ...] = ()
    seq: int | None = None
    by: str | None = None
    at: str | None = None
    statement: str | None = None
    public_key: str | None = None
