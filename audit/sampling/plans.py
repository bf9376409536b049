"""Single sampling plans of ISO 2859-1: from lot size, level, AQL and severity to n, Ac and Re."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, get_args

from scipy.stats import binom

from audit.errors import UsageError
from audit.resources import load_toml

Severity = Literal["normal", "tightened", "reduced"]
Level = Literal["I", "II", "III"]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)
LEVELS: tuple[Level, ...] = get_args(Level)

DATA = "sampling/iso2859-1.toml"


@dataclass(frozen=True)
class Plan:
    """One plan as it is used on one lot.

    Parameters
    ----------
    lot : int
        Fittings in the lot, 1 or more.
    letter : str
        Code letter whose row gave the plan, after arrows.
    table_n : int
        Sample size in the table.
    ac : int
        Acceptance number: most faulty fittings that the plan lets stand. Re is one more.
    severity, level, aql : str
    """

    lot: int
    letter: str
    table_n: int
    ac: int
    severity: Severity
    level: Level
    aql: str

    @property
    def n(self) -> int:
        """Fittings to look at: never more than there are."""
        return min(self.table_n, self.lot)

    @property
    def everything(self) -> bool:
        """Whether the table's sample is as large as the lot or larger: look at all of it."""
        return self.table_n >= self.lot

    @property
    def re(self) -> int:
        """Rejection number, Ac + 1."""
        return self.ac + 1


@cache
def _data() -> dict[str, Any]:
    return load_toml(DATA)


def verified() -> str:
    """How far the tables were verified, for a person."""
    return str(_data()["verified"])


def aqls() -> tuple[str, ...]:
    """AQLs that may be chosen, percent faulty fittings."""
    return tuple(_data()["choices"])


def code_letter(lot: int, level: Level = "II") -> str:
    """Code letter of a lot (Table 1).

    Parameters
    ----------
    lot : int
        2 to 10 000; a lot of one takes the first band.
    level : {'I', 'II', 'III'}
        General inspection level.

    Raises
    ------
    UsageError
        When the lot is empty or larger than the table held here.

    Examples
    --------
    >>> code_letter(24), code_letter(500, "III")
    ('C', 'J')
    """
    if lot < 1:
        raise UsageError("a lot holds one fitting or more", next_step="name a lot with fittings")
    for band in _data()["lots"]:
        if lot <= band["most"]:
            return str(band[level])
    most = _data()["lots"][-1]["most"]
    raise UsageError(
        f"a lot of {lot} is larger than the tables here ({most})", next_step="split the lot"
    )


def plan(lot: int, aql: str, severity: Severity = "normal", level: Level = "II") -> Plan:
    """The plan for a lot, arrows followed to their end (Tables 2-A, 2-B, 2-C).

    Parameters
    ----------
    lot : int
        Fittings in the lot.
    aql : str
        One of `aqls()`, percent faulty fittings.
    severity : {'normal', 'tightened', 'reduced'}
    level : {'I', 'II', 'III'}

    Raises
    ------
    UsageError
        When there is no such AQL, or the lot is out of range.

    Examples
    --------
    >>> p = plan(24, "4.0")
    >>> p.letter, p.n, p.ac, p.re
    ('B', 3, 0, 1)
    """
    columns = list(_data()["aql"])
    if aql not in columns:
        raise UsageError(f"there is no AQL {aql!r}", next_step=f"one of {', '.join(aqls())}")
    rows = _data()[severity]
    letters = list(rows)
    at = letters.index(code_letter(lot, level))
    # Arrows lead to a number within a few rows; a ring would be a damaged table.
    for _ in letters:
        row = rows[letters[at]]
        cell = row["cells"].split()[columns.index(aql)]
        if cell.isdigit():
            return Plan(lot, letters[at], int(row["n"]), int(cell), severity, level, aql)
        at += 1 if cell == "v" else -1
    raise AssertionError(f"the arrows of {severity} at AQL {aql} lead nowhere")


def tighter_aql(aql: str) -> str | None:
    """The AQL one step tighter, or None where the tables held here end."""
    columns = list(_data()["aql"])
    at = columns.index(aql)
    return columns[at - 1] if at else None


def probability_of_standing(n: int, ac: int, share: float) -> float:
    """Chance that a sample shows no more than Ac faulty fittings (operating characteristic).

    Binomial: for a long run of fittings of which this share is faulty.

    Parameters
    ----------
    n, ac : int
    share : float
        0 to 1.

    Examples
    --------
    >>> round(probability_of_standing(80, 2, 0.01), 4)
    0.9534
    """
    return float(binom.cdf(ac, n, share))
