"""The rule catalogue: what a job declares, and what its photos showed, against published rules."""

from audit.rules.catalogue import TOPICS, catalogue, check, photo_checks
from audit.rules.engine import evaluate
from audit.rules.house import HouseRules, load_house
from audit.rules.types import (
    Check,
    ColourSeen,
    CpcSeen,
    FittingSeen,
    HoldPoint,
    Item,
    PhotoRef,
    State,
    Weight,
)

__all__ = [
    "TOPICS",
    "Check",
    "ColourSeen",
    "CpcSeen",
    "FittingSeen",
    "HoldPoint",
    "HouseRules",
    "Item",
    "PhotoRef",
    "State",
    "Weight",
    "catalogue",
    "check",
    "evaluate",
    "load_house",
    "photo_checks",
]
