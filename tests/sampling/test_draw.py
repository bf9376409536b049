"""The draw: by seed and frame alone, in proportion, and the same by any hand."""

from __future__ import annotations

import hashlib
import json
import random
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.errors import JobError, UsageError
from audit.job.facts import JobFacts
from audit.sampling.draw import Unit, draw, frame_sha256, labels_of, share_out
from audit.sampling.lot import checks_of, fittings_of, frame_of, strata_by
from audit.sampling.sizing import by_chance

frames = st.lists(st.sampled_from("abcde"), min_size=1, max_size=40).map(
    lambda groups: tuple(Unit(f"F{n:02d}", (g,)) for n, g in enumerate(groups))
)
seeds = st.text(st.characters(codec="ascii", categories=["L", "N"]), min_size=1, max_size=12)


@given(frames, seeds, st.data())
def test_depends_on_seed_and_frame_alone(
    frame: tuple[Unit, ...], seed: str, data: st.DataObject
) -> None:
    n = data.draw(st.integers(0, len(frame)))
    mixed = list(frame)
    random.Random(data.draw(st.integers(0, 99))).shuffle(mixed)
    assert draw(mixed, n, seed) == draw(frame, n, seed)
    assert frame_sha256(mixed) == frame_sha256(frame)
    assert len(set(labels_of(draw(frame, n, seed)))) == n


@given(frames, seeds, st.data())
def test_shares_are_in_proportion(frame: tuple[Unit, ...], seed: str, data: st.DataObject) -> None:
    n = data.draw(st.integers(0, len(frame)))
    sizes: dict[tuple[str, ...], int] = {}
    for unit in frame:
        sizes[unit.stratum] = sizes.get(unit.stratum, 0) + 1
    places = share_out(sizes, n, seed)
    assert sum(places.values()) == n
    assert all(0 <= places[s] <= sizes[s] for s in sizes)
    exact = {s: Fraction(n * size, len(frame)) for s, size in sizes.items()}
    if n >= len(sizes):
        assert min(places.values()) >= 1
    if n < len(sizes) or min(exact.values()) >= 1:
        # Largest remainder keeps to the quota: rounded down or up, never further off.
        assert all(int(exact[s]) <= places[s] <= -(-exact[s] // 1) for s in sizes)
    else:
        # A place that a small stratum is given comes from the others: none gets more than its share, rounded up.
        assert all(places[s] <= max(1, -(-exact[s] // 1)) for s in sizes)


@given(frames, st.integers(1, 8), st.sampled_from([0.5, 0.8, 0.95, 0.99]))
def test_sharing_out_keeps_what_was_promised(
    frame: tuple[Unit, ...], bad: int, confidence: float
) -> None:
    bad = min(bad, len(frame))
    sized = by_chance(frame, bad, confidence, "seed")
    assert sized.n >= sized.asked["simple_n"]
    assert sized.asked["least_chance"] >= confidence - 1e-9
    more = by_chance(frame, bad, min(0.999, confidence + 0.005), "seed")
    assert more.n >= sized.n
    if bad < len(frame):
        assert by_chance(frame, bad + 1, confidence, "seed").n <= sized.n


def test_equal_remainders_go_by_the_seed() -> None:
    sizes = {(name,): 4 for name in "abcdef"}
    shares = {tuple(share_out(sizes, 9, f"seed {n}").values()) for n in range(40)}
    assert len(shares) > 5
    assert all(sorted(s) == [1, 1, 1, 2, 2, 2] for s in shares)


def test_every_fitting_is_drawn_about_as_often() -> None:
    """A seed is fair: over 2000 seeds no fitting strays by five standard deviations."""
    frame = [Unit(f"F{n:02d}", ("x" if n < 6 else "y",)) for n in range(12)]
    count = dict.fromkeys((u.label for u in frame), 0)
    for n in range(2000):
        for label in labels_of(draw(frame, 4, f"{n}")):
            count[label] += 1
    mean, sigma = 2000 / 3, (2000 * (1 / 3) * (2 / 3)) ** 0.5
    assert all(abs(c - mean) < 5 * sigma for c in count.values())


def test_the_draw_by_other_tools() -> None:
    """As the how-to tells anyone to do it: no code of ours, only SHA-256 and a sorted list."""
    frame = [Unit(f"F{n:02d}", ()) for n in range(1, 25)]
    by_hand = sorted(
        (u.label for u in frame), key=lambda x: hashlib.sha256(f"a seed:{x}".encode()).hexdigest()
    )[:5]
    assert labels_of(draw(frame, 5, "a seed")) == sorted(by_hand)
    text = json.dumps([[u.label, []] for u in frame], separators=(",", ":"))
    assert frame_sha256(frame) == hashlib.sha256(text.encode()).hexdigest()


def told_in_the_how_to(frame: list[Unit], n: int, seed: str) -> list[str]:
    """The three steps of docs/how-to/spot-check.md in other words than the code's."""

    def sha(text: str) -> str:
        return hashlib.sha256(text.encode()).hexdigest()

    groups: dict[tuple[str, ...], list[str]] = {}
    for unit in frame:
        groups.setdefault(unit.stratum, []).append(unit.label)
    given_one: list[tuple[str, ...]] = []
    left = dict(groups)
    while n >= len(groups):
        total = sum(map(len, left.values()))
        small = [g for g in left if Fraction((n - len(given_one)) * len(left[g]), total) < 1]
        if not small:
            break
        given_one += small
        left = {g: v for g, v in left.items() if g not in small}
    places = dict.fromkeys(given_one, 1)
    rest, total = n - len(given_one), sum(map(len, left.values()))
    exact = {g: Fraction(rest * len(v), total) for g, v in left.items()}
    places |= {g: int(x) for g, x in exact.items()}
    over = rest - sum(int(x) for x in exact.values())
    by_rest = sorted(exact, key=lambda g: sha(f"{seed}:" + "\x1f".join(["stratum", *g])))
    by_rest.sort(key=lambda g: exact[g] - int(exact[g]), reverse=True)
    for g in by_rest[:over]:
        places[g] += 1
    drawn = [
        x
        for g, v in groups.items()
        for x in sorted(v, key=lambda x: sha(f"{seed}:{x}"))[: places[g]]
    ]
    return sorted(drawn)


@settings(deadline=None)
@given(frames, seeds, st.data())
def test_the_draw_by_the_steps_of_the_how_to(
    frame: tuple[Unit, ...], seed: str, data: st.DataObject
) -> None:
    n = data.draw(st.integers(1, len(frame)))
    assert labels_of(draw(frame, n, seed)) == told_in_the_how_to(list(frame), n, seed)


def facts(*fittings: dict[str, str]) -> JobFacts:
    return JobFacts.model_validate(
        {"job": {"name": "x", "by": "A. Prentice"}, "fitting": list(fittings)}
    )


def test_lots_and_frames() -> None:
    declared = facts(
        {"label": "F1", "room": "Hall", "cable": "1.5 T&E", "model": "R7", "circuit": "L1"},
        {"label": "F2", "room": "Hall", "fitted_by": "B. Other"},
    )
    assert [f.label for f in fittings_of(declared, "all")] == ["F1", "F2"]
    assert [f.label for f in fittings_of(declared, "room: hall")] == ["F1", "F2"]
    assert [f.label for f in fittings_of(declared, "circuit:L1")] == ["F1"]
    assert [f.label for f in fittings_of(declared, "fitted-by:a. prentice")] == ["F1"]
    assert [f.label for f in fittings_of(declared, "fitted-by:B. Other")] == ["F2"]
    frame = frame_of(declared.fittings, strata_by("room,cable,kind"))
    assert frame[0].stratum == ("Hall", "1.5 T&E", "R7")
    assert frame[1].stratum == ("Hall", "not declared", "not declared")
    assert frame_of(declared.fittings, strata_by("none"))[0].stratum == ()
    with pytest.raises(JobError, match="no fitting belongs"):
        fittings_of(declared, "room:Attic")
    for wrong in ("", "attic", "room:", "maker:X"):
        with pytest.raises(UsageError, match="names no lot"):
            fittings_of(declared, wrong)
    for wrong in ("", "colour", "room,,maker"):
        with pytest.raises(UsageError, match="--strata"):
            strata_by(wrong)


def test_checks_asked() -> None:
    chosen = checks_of(None, ())
    weights = {c["id"]: c["weight"] for c in chosen}
    assert weights["core-outside-enclosure"] == "stop"
    assert "advise" not in weights.values()
    assert "views-supplied" not in weights  # a photo that is missing is no fault of the work
    assert checks_of(None, ("views-supplied",)) == [{"id": "views-supplied", "weight": "put right"}]
    lesser = next(k for k, w in weights.items() if w == "put right")
    assert checks_of(None, (lesser, lesser)) == [{"id": lesser, "weight": "put right"}]
    assert len(checks_of(None, (), "boarding")) < len(chosen)
    with pytest.raises(UsageError, match="no check asked of a fitting"):
        checks_of(None, ("core-outside",))
