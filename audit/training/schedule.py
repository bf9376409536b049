"""When a photo comes back: spaced repetition, and first what was missed.

Each photo is a card of the FSRS scheduler (library `fsrs`); nothing but the
results themselves is kept, and the cards are worked out from them each time.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from fsrs import Card, Rating, Scheduler

from audit.measure.contract import CheckId
from audit.training.scoring import Score

SOON = timedelta(minutes=10)
"""A photo just seen tells nothing when it is shown again at once: it waits so long (ours)."""
PLAIN_TURN = 3
"""Every so many new photos one is taken whatever it shows, so that a photo without a fault
comes too, and nobody can reckon with one (ours)."""


class Judged(Protocol):
    """A round, as far as the schedule looks at it."""

    @property
    def photo(self) -> str:
        """SHA-256 of the photo."""

    @property
    def moment(self) -> datetime:
        """When it was answered, UTC."""

    @property
    def score(self) -> Score:
        """How it went."""

    @property
    def counted(self) -> bool:
        """Whether it was due."""


def scheduler() -> Scheduler:
    """The scheduler with its own parameters, and with nothing left to chance."""
    return Scheduler(learning_steps=(SOON,), relearning_steps=(SOON,), enable_fuzzing=False)


def rating(score: Score) -> Rating:
    """How well a photo was judged, as the scheduler takes it.

    `Again` when anything was missed, or the whole answer was wrong; `Hard` when
    all was found, but something was named otherwise or marked where nothing is;
    else `Good`.
    """
    if score.right:
        return Rating.Good
    if score.missed or not (score.found or score.other or score.false):
        return Rating.Again
    return Rating.Hard


def cards(rounds: Iterable[Judged]) -> dict[str, Card]:
    """The card of each photo that was answered, by the photo's SHA-256.

    Parameters
    ----------
    rounds : iterable of Judged
        In the order in which they were made; those that don't count are passed over.
    """
    plan = scheduler()
    found: dict[str, Card] = {}
    for each in rounds:
        if not each.counted:
            continue
        card = found.get(each.photo) or Card(card_id=len(found) + 1, due=each.moment)
        # A clock that was put back must not make time run backwards for a card.
        at = max(each.moment, card.last_review or each.moment)
        found[each.photo], _ = plan.review_card(card, rating(each.score), at)
    return found


@dataclass(frozen=True)
class Shows:
    """What the schedule knows of a photo: checks of the faults to find, and how hard it is."""

    checks: tuple[CheckId, ...] = ()
    level: int = 0


@dataclass(frozen=True)
class Deck:
    """What is due.

    Parameters
    ----------
    due : tuple of str
        Photos to be judged again, the one most likely forgotten first.
    new : tuple of str
        Photos never judged, in the order in which they come.
    later : tuple of (datetime, str)
        The others with the moment they are due, the soonest first.
    """

    due: tuple[str, ...]
    new: tuple[str, ...]
    later: tuple[tuple[datetime, str], ...]

    @property
    def next(self) -> str | None:
        """The photo to judge now; repeats come before new ones."""
        return next(iter((*self.due, *self.new)), None)

    def is_due(self, photo: str) -> bool:
        """Whether a photo counts when it is judged now."""
        return photo in self.due or photo in self.new


def deck(
    photos: Mapping[str, Shows],
    rounds: Sequence[Judged],
    now: datetime,
    trainee: str,
    missed: Mapping[CheckId, float],
) -> Deck:
    """Work out what comes next.

    Parameters
    ----------
    photos : mapping of str to Shows
        By the photo's SHA-256.
    rounds : sequence of Judged
        This trainee's, oldest first.
    now : datetime
        With a zone.
    trainee : str
        New photos come in another order for each.
    missed : mapping of str to float
        Share of each check's faults that was missed so far, 0 to 1.
    """
    plan = scheduler()
    known = {k: c for k, c in cards(rounds).items() if k in photos}
    due = [k for k, c in known.items() if c.due <= now]
    due.sort(key=lambda k: (plan.get_card_retrievability(known[k], now), known[k].due, k))
    later = sorted((c.due, k) for k, c in known.items() if c.due > now)
    new = [k for k in photos if k not in known]
    return Deck(tuple(due), tuple(_order(new, photos, trainee, missed, len(known))), tuple(later))


def _order(
    new: list[str],
    photos: Mapping[str, Shows],
    trainee: str,
    missed: Mapping[CheckId, float],
    turn: int,
) -> list[str]:
    """New photos: those that show what was missed first, every third one whatever it shows.

    Among equals the easier one comes first, and then the lot decides.
    """

    def lot(key: str) -> tuple[int, str]:
        drawn = hashlib.sha256(f"{trainee}\0{key}".encode("utf-8", "replace")).hexdigest()
        return (photos[key].level, drawn)

    by_lot = sorted(new, key=lot)
    wanted = sorted(new, key=lambda k: (-_weight(photos[k].checks, missed), *lot(k)))
    taken: list[str] = []
    held: Counter[str] = Counter()
    queues = (wanted, by_lot)
    while len(taken) < len(new):
        queue = queues[(turn + len(taken)) % PLAIN_TURN == PLAIN_TURN - 1]
        key = next(k for k in queue if not held[k])
        held[key] += 1
        taken.append(key)
    return taken


def _weight(checks: Sequence[CheckId], missed: Mapping[CheckId, float]) -> float:
    """How much a photo trains what was missed: its worst check's share."""
    return max((missed.get(c, 0.0) for c in checks), default=0.0)
