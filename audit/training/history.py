"""A trainee's own results: what was found, check by check, with its range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from audit.bench.stats import Share, share
from audit.measure.contract import CheckId
from audit.training.store import Round
from audit.training.words import CHECKS


@dataclass(frozen=True)
class CheckLine:
    """One check's results.

    Parameters
    ----------
    check : str
    found : Share
        Of faults that were to be found and named; with its exact 95 % range.
    other : int
        Found, but named otherwise.
    false : int
        Marks that named it where no fault is.
    length_error_mm : float or None
        Median of the absolute errors of the lengths told.
    lengths : int
        How many lengths were told.
    """

    check: CheckId
    found: Share
    other: int
    false: int
    length_error_mm: float | None
    lengths: int


@dataclass(frozen=True)
class History:
    """All results of one trainee that count.

    Parameters
    ----------
    photos : int
        Times a photo was judged.
    checks : tuple of CheckLine
    without_fault : Share
        Photos without a fault to find of which that was said.
    not_judgeable : Share
        Photos that can't be judged of which that was said.
    seconds : float or None
        Median time for a photo, over those that were timed.
    """

    photos: int
    checks: tuple[CheckLine, ...]
    without_fault: Share
    not_judgeable: Share
    seconds: float | None

    @property
    def missed(self) -> dict[CheckId, float]:
        """Share of each check's faults that was missed, 0 to 1; 0 where there was none."""
        return {c.check: 0.0 if c.found.value is None else 1.0 - c.found.value for c in self.checks}


def history(rounds: Sequence[Round]) -> History:
    """Add a trainee's rounds up.

    Parameters
    ----------
    rounds : sequence of Round
        Of one trainee; those that don't count are passed over.

    Notes
    -----
    Ranges are Clopper-Pearson's at 95 %. They take faults as independent;
    several in one photo, and a photo seen before, are not quite.
    """
    counted = [r for r in rounds if r.counted]
    bare = [r for r in counted if r.sheet.judgeable and not r.sheet.to_find]
    bad = [r for r in counted if not r.sheet.judgeable]
    times = [r.seconds for r in counted if r.seconds is not None]
    return History(
        photos=len(counted),
        checks=tuple(_line(c, counted) for c in CHECKS),
        without_fault=share(sum(r.score.right for r in bare), len(bare)),
        not_judgeable=share(sum(r.score.right for r in bad), len(bad)),
        seconds=median(times) if times else None,
    )


def _line(check: CheckId, rounds: Sequence[Round]) -> CheckLine:
    counts = dict.fromkeys(("found", "other fault", "missed", "false"), 0)
    errors: list[float] = []
    for r in rounds:
        for line in r.score.lines:
            if line.verdict not in counts:
                continue
            if line.answer is not None:
                named = r.sheet.answers[line.answer].check
            else:
                assert line.mark is not None
                named = r.given.marks[line.mark].check
            if named == check:
                counts[line.verdict] += 1
                if line.length_error_mm is not None:
                    errors.append(abs(line.length_error_mm))
    to_find = counts["found"] + counts["other fault"] + counts["missed"]
    return CheckLine(
        check=check,
        found=share(counts["found"], to_find),
        other=counts["other fault"],
        false=counts["false"],
        length_error_mm=median(errors) if errors else None,
        lengths=len(errors),
    )
