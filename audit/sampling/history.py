"""A fitter's history across jobs: what was found of their work, how often, and how they judged it.

Pure: what stands in signed records comes in as `Judged` items, figures go out.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from audit.job.text import same_key
from audit.record.agreement import Agreement, cohen_kappa
from audit.record.types import Finds
from audit.sampling.limits import interval

WORDS: tuple[Finds, ...] = ("fault", "no fault")
FEW = 20
"""Below so many fittings a share says little: its interval is wider than most differences."""


@dataclass(frozen=True)
class Judged:
    """One item of one fitting, as a signed record has it.

    Parameters
    ----------
    job : str
        The job folder, or its letter.
    fitting, check, question, weight : str
    fitter : str or None
        Who fitted it.
    finds : {'fault', 'no fault'} or None
        None where it was left open.
    flagged : bool
        The tool flagged it at some look.
    by : str
        Who decided.
    month : str
        `YYYY-MM`, UTC, of the look that counts.
    declared : {'fault', 'no fault', "can't tell"} or None
        What the fitter declared, where it can be shown that it was declared first.
    """

    job: str
    fitting: str
    check: str
    question: str
    weight: str
    fitter: str | None
    finds: Finds | None
    flagged: bool
    by: str
    month: str
    declared: str | None = None


@dataclass(frozen=True)
class Rate:
    """Faults confirmed out of what was decided, with its 95 % Clopper-Pearson interval."""

    name: str
    faults: int
    of: int
    flagged: int = 0
    words: str = ""

    @property
    def share(self) -> float | None:
        """Faults out of all, or None where nothing was decided."""
        return self.faults / self.of if self.of else None

    @property
    def interval(self) -> tuple[float, float] | None:
        """95 %, two-sided, exact."""
        return interval(self.faults, self.of)


@dataclass(frozen=True)
class Month:
    """One month of a fitter's work.

    Parameters
    ----------
    name : str
        `YYYY-MM`, UTC.
    fittings : int
        Fittings of which something was decided in that month.
    faulty : int
        Those among them with a confirmed fault.
    faults : int
        Confirmed faults on them.
    """

    name: str
    fittings: int
    faulty: int
    faults: int

    @property
    def interval(self) -> tuple[float, float] | None:
        """Of the share of faulty fittings: 95 %, two-sided, exact."""
        return interval(self.faulty, self.fittings)


@dataclass(frozen=True)
class Own:
    """How the fitter's own declaration and the decisions of others agree.

    Parameters
    ----------
    table : tuple
        Rows what the fitter declared, columns what was decided, both in the order of `WORDS`.
    agreement : Agreement or None
        None where there is no pair.
    cant_tell : int
        Declared "can't tell": in no pair.
    left_open : int
        Declared, and left open by whoever decided: in no pair.
    """

    table: tuple[tuple[int, int], tuple[int, int]]
    agreement: Agreement | None
    cant_tell: int
    left_open: int


@dataclass(frozen=True)
class FitterHistory:
    """Everything told of one fitter."""

    name: str
    jobs: tuple[str, ...]
    fittings: Rate
    by_check: tuple[Rate, ...]
    by_month: tuple[Month, ...]
    own: Own
    left_open: int
    by_themselves: int

    @property
    def few(self) -> bool:
        """Whether so little was looked at that shares say little."""
        return self.fittings.of < FEW


@dataclass(frozen=True)
class LeftOut:
    """A job, or a part of one, that is not counted, and why."""

    job: str
    why: str
    kind: Literal["unsigned", "damaged", "unreadable", "part", "copy"]


@dataclass
class Gathered:
    """What the records of several jobs gave.

    Attributes
    ----------
    judged : list of Judged
    left_out : list of LeftOut
    keys : dict of str to str
        Fingerprints of the keys that signed, with the names that go with them.
    signed : list of str
        Jobs that are counted.
    records : dict of str to str
        Hash of each record's first entry, which copies share, with the job's name.
    """

    judged: list[Judged] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    keys: dict[str, str] = field(default_factory=dict)
    signed: list[str] = field(default_factory=list)
    records: dict[str, str] = field(default_factory=dict)


def histories(judged: Iterable[Judged]) -> tuple[FitterHistory, ...]:
    """The history of every fitter, by name.

    Items decided by the fitter themself are counted apart and in no figure.

    Parameters
    ----------
    judged : iterable of Judged
        Items without a fitter are left out.
    """
    mine: dict[str, list[Judged]] = defaultdict(list)
    for item in judged:
        if item.fitter:
            mine[same_key(item.fitter)].append(item)
    found = [_history(str(items[0].fitter), items) for items in mine.values()]
    return tuple(sorted(found, key=lambda h: h.name.casefold()))


def _history(name: str, items: Sequence[Judged]) -> FitterHistory:
    others = [i for i in items if same_key(i.by) != same_key(name)]
    decided = [i for i in others if i.finds is not None]
    return FitterHistory(
        name=name,
        jobs=tuple(dict.fromkeys(i.job for i in items)),
        fittings=_of_fittings(decided),
        by_check=_by_check(decided),
        by_month=_by_month(decided),
        own=_own(others),
        left_open=len(others) - len(decided),
        by_themselves=len(items) - len(others),
    )


def _of_fittings(decided: Sequence[Judged]) -> Rate:
    seen = {(i.job, i.fitting) for i in decided}
    faulty = {(i.job, i.fitting) for i in decided if i.finds == "fault"}
    flagged = {(i.job, i.fitting) for i in decided if i.flagged}
    return Rate("fittings", len(faulty), len(seen), len(flagged))


def _by_check(decided: Sequence[Judged]) -> tuple[Rate, ...]:
    of: Counter[str] = Counter(i.check for i in decided)
    faults: Counter[str] = Counter(i.check for i in decided if i.finds == "fault")
    flagged: Counter[str] = Counter(i.check for i in decided if i.flagged)
    words = {i.check: i.question for i in decided}
    rates = [Rate(c, faults[c], n, flagged[c], words[c]) for c, n in of.items()]
    return tuple(sorted(rates, key=lambda r: (-r.faults, -(r.share or 0), r.name)))


def _by_month(decided: Sequence[Judged]) -> tuple[Month, ...]:
    """Every month from the first to the last, those without a look too."""
    if not decided:
        return ()
    fittings: dict[str, dict[tuple[str, str], int]] = defaultdict(dict)
    for i in decided:
        there = fittings[i.month]
        there[i.job, i.fitting] = there.get((i.job, i.fitting), 0) + (i.finds == "fault")
    names = months_between(min(fittings), max(fittings))
    return tuple(
        Month(
            name,
            len(fittings.get(name, {})),
            sum(n > 0 for n in fittings.get(name, {}).values()),
            sum(fittings.get(name, {}).values()),
        )
        for name in names
    )


def months_between(first: str, last: str) -> list[str]:
    """Months from first to last, both `YYYY-MM`, both included.

    Examples
    --------
    >>> months_between("2025-11", "2026-02")
    ['2025-11', '2025-12', '2026-01', '2026-02']
    """
    year, month = (int(x) for x in first.split("-"))
    found = []
    while (name := f"{year:04d}-{month:02d}") <= last:
        found.append(name)
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
    return found


def _own(items: Sequence[Judged]) -> Own:
    declared = [i for i in items if i.declared is not None]
    pairs = [i for i in declared if i.declared in WORDS and i.finds is not None]
    count = Counter((i.declared, i.finds) for i in pairs)
    fault, none = WORDS
    table = (
        (count[fault, fault], count[fault, none]),
        (count[none, fault], count[none, none]),
    )
    return Own(
        table=table,
        agreement=cohen_kappa(table) if pairs else None,
        cant_tell=sum(i.declared not in WORDS for i in declared),
        left_open=sum(i.declared in WORDS and i.finds is None for i in declared),
    )


_PLAIN: Mapping[str, str] = {
    "unsigned": "nothing in it is signed off",
    "damaged": "its record does not hold",
    "unreadable": "it can't be read",
    "copy": "it is a copy of a job that is counted",
    "part": "a hold point is not signed off, or the job changed since it was",
}
"""Why a job is left out, without the names that a full reason holds."""


def without_names(found: Gathered) -> Gathered:
    """The same with letters in place of names and numbers in place of jobs and keys.

    Letters are given by the order of names, so that the same records give the same letters.
    """
    people = sorted({same_key(i.fitter) for i in found.judged if i.fitter})
    letters: Mapping[str, str] = {name: f"Fitter {letter(n)}" for n, name in enumerate(people)}
    folders = [*found.signed, *(x.job for x in found.left_out)]
    jobs = {job: f"Job {n}" for n, job in enumerate(dict.fromkeys(folders), start=1)}

    def hidden(item: Judged) -> Judged:
        same = item.fitter is not None and same_key(item.by) == same_key(item.fitter)
        fitter = letters.get(same_key(item.fitter or ""))
        by = (fitter or "") if same else "somebody else"
        return replace(item, job=jobs[item.job], fitter=fitter, by=by)

    return Gathered(
        judged=[hidden(i) for i in found.judged],
        left_out=[replace(x, job=jobs[x.job], why=_PLAIN[x.kind]) for x in found.left_out],
        keys={key: f"Signer {n}" for n, key in enumerate(found.keys, start=1)},
        signed=[jobs[x] for x in found.signed],
    )


def letter(n: int) -> str:
    """A, B, ... Z, AA, AB, ...

    Examples
    --------
    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    text = ""
    n += 1
    while n:
        n, rest = divmod(n - 1, 26)
        text = chr(65 + rest) + text
    return text
