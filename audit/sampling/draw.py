"""The draw itself: a frame, strata, a share for each, and a seed that anyone can draw again with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Literal

from audit.record.canonical import digest
from audit.sampling.sizes import first_n, least_chance

Stratum = tuple[str, ...]

METHOD: Literal["strata by largest remainder, then lowest sha256(seed:label)"] = (
    "strata by largest remainder, then lowest sha256(seed:label)"
)


@dataclass(frozen=True)
class Unit:
    """One fitting of the frame.

    Parameters
    ----------
    label : str
    stratum : tuple of str
        What it is grouped by, as room, cable and kind of fitting; empty for none.
    """

    label: str
    stratum: Stratum


@dataclass(frozen=True)
class Share:
    """What one stratum gives.

    Parameters
    ----------
    stratum : tuple of str
    size : int
        Fittings in it.
    labels : tuple of str
        Drawn, in the order of the frame.
    """

    stratum: Stratum
    size: int
    labels: tuple[str, ...]


def frame_sha256(frame: Sequence[Unit]) -> str:
    """SHA-256 of the frame: canonical JSON of [[label, [stratum]], ...], sorted by label."""
    ordered = sorted(frame, key=lambda u: u.label)
    return digest([[u.label, list(u.stratum)] for u in ordered])


def ticket(seed: str, text: str) -> str:
    """What decides the order: SHA-256 of ``seed:text``; lowest first."""
    return sha256(f"{seed}:{text}".encode()).hexdigest()


def strata_of(frame: Sequence[Unit]) -> dict[Stratum, list[str]]:
    """Labels of each stratum, both sorted."""
    found: dict[Stratum, list[str]] = {}
    for unit in sorted(frame, key=lambda u: (u.stratum, u.label)):
        found.setdefault(unit.stratum, []).append(unit.label)
    return found


def share_out(sizes: Mapping[Stratum, int], n: int, seed: str) -> dict[Stratum, int]:
    """Share n places out among strata: in proportion, one at least for each where n allows.

    Largest remainder (Hamilton); equal remainders are settled by the seed. Where n reaches
    the number of strata, those whose share is below one get one, and the rest is shared out
    among the others in the same way.

    Parameters
    ----------
    sizes : mapping
        Fittings in each stratum.
    n : int
        0 to the sum of sizes.
    seed : str

    Returns
    -------
    dict
        Places, none above its stratum's size; they sum to n.

    Examples
    --------
    >>> share_out({("a",): 10, ("b",): 5, ("c",): 1}, 8, "s")
    {('a',): 5, ('b',): 2, ('c',): 1}
    """
    places = dict.fromkeys(sizes, 0)
    open_ = dict(sizes)
    if n >= len(sizes):
        while small := [s for s, size in open_.items() if size * n < sum(open_.values())]:
            for stratum in small:
                places[stratum] = 1
                del open_[stratum]
            n -= len(small)
    total = sum(open_.values())
    if not total:
        return places
    for stratum, size in open_.items():
        places[stratum] = n * size // total
    left = n - sum(places[s] for s in open_)

    def order(stratum: Stratum) -> tuple[int, str]:
        return (-(n * open_[stratum] % total), ticket(seed, "\x1f".join(("stratum", *stratum))))

    for stratum in sorted(open_, key=order)[:left]:
        places[stratum] += 1
    return places


def draw(frame: Sequence[Unit], n: int, seed: str) -> tuple[Share, ...]:
    """Draw n fittings of a frame.

    Depends on seed and frame alone, not on the frame's order.

    Parameters
    ----------
    frame : sequence of Unit
        Labels are unique.
    n : int
        0 to the number of fittings.
    seed : str

    Returns
    -------
    tuple of Share
        One for each stratum, sorted; those that give none included.
    """
    strata = strata_of(frame)
    places = share_out({s: len(labels) for s, labels in strata.items()}, n, seed)
    return tuple(
        Share(
            stratum,
            len(labels),
            tuple(sorted(sorted(labels, key=lambda x: ticket(seed, x))[: places[stratum]])),
        )
        for stratum, labels in strata.items()
    )


def labels_of(shares: Sequence[Share]) -> list[str]:
    """All labels drawn, sorted."""
    return sorted(label for share in shares for label in share.labels)


def chance_whatever(frame: Sequence[Unit], n: int, bad: int, seed: str) -> float:
    """Chance that a shared-out draw of n shows one of the bad fittings, wherever they lie."""
    strata = strata_of(frame)
    places = share_out({s: len(labels) for s, labels in strata.items()}, n, seed)
    return least_chance([len(v) for v in strata.values()], [places[s] for s in strata], bad)


def smallest_shared_n(
    frame: Sequence[Unit], bad: int, confidence: float, seed: str, least: int
) -> int:
    """Fewest fittings with which a shared-out draw keeps the confidence, wherever the bad ones lie.

    Parameters
    ----------
    least : int
        Where to begin: what a simple draw needs. Sharing out never needs fewer here, though
        a lucky spread could: no claim is made below what the simple draw needs.
    """
    return first_n(lambda n: chance_whatever(frame, n, bad, seed), len(frame), confidence, least)
