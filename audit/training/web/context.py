"""What every route of the practice pages works with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

from flask import current_app

from audit.review.access import Access
from audit.review.pictures import Pictures
from audit.settings import Settings
from audit.training.history import History, history
from audit.training.schedule import Deck, Shows, deck
from audit.training.sets import PracticeSet
from audit.training.store import Results, Round, utc_now

NAME = "lidoff-practice"


@dataclass
class Practice:
    """What the routes work with.

    Parameters
    ----------
    set : PracticeSet
    results : Results
    trainee : str
    access : Access
    clock : callable
        Gives the present moment, UTC.
    """

    set: PracticeSet
    results: Results
    trainee: str
    access: Access = field(default_factory=Access)
    clock: Callable[[], datetime] = utc_now
    pictures: Pictures = field(default_factory=lambda: Pictures(Settings()))

    def rounds(self) -> tuple[Round, ...]:
        """This trainee's rounds, oldest first."""
        return self.results.rounds(self.trainee)

    def history(self) -> History:
        """This trainee's results."""
        return history(self.rounds())

    def deck(self) -> Deck:
        """What is due for this trainee."""
        rounds = self.rounds()
        shows = {
            k: Shows(tuple(a.check for a in p.sheet.to_find), p.level)
            for k, p in self.set.photos.items()
        }
        return deck(shows, rounds, self.clock(), self.trainee, history(rounds).missed)


def practice() -> Practice:
    """The practice that the present request belongs to."""
    found = current_app.extensions[NAME]
    assert isinstance(found, Practice)
    return found
