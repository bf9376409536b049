"""What every route works with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from flask import current_app

from audit.review.access import Access
from audit.review.desk import Desk
from audit.review.recompute import remake

NAME = "lidoff"


@dataclass
class Review:
    """What the routes work with.

    Parameters
    ----------
    desk : Desk
    access : Access
    key : pathlib.Path or None
        The key for signing off, as the command was given it.
    recompute : callable
        Makes the job's checklist again, after marks were put.
    """

    desk: Desk
    access: Access = field(default_factory=Access)
    key: Path | None = None
    recompute: Callable[[Path], None] = remake


def review() -> Review:
    """The review that the present request belongs to."""
    found = current_app.extensions[NAME]
    assert isinstance(found, Review)
    return found
