"""How likely a fault is, from the row of evidence at its place, and what is said then.

Small forests of boosted trees (Friedman, 2001), one a question, are fitted on
rendered photos with truth (`lidoff fit-materials` writes them beside the
others). A photo's row comes from maps made by forests that never saw it, so
that the trees learn how far such maps are to be trusted. More trees are grown
upon them by `lidoff fit-verdicts`, on photos that no stored forest has seen.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from audit.measure.contract import State
from audit.resources import models_dir
from audit.sight.materials import forest_probability, mended
from audit.sight.types import F32

CUT = "cpc-cut-short"
FORESTS = {
    "copper-beyond-terminal": "verdict-copper.npz",
    "core-outside-grip": "verdict-grip.npz",
    "core-outside-enclosure": "verdict-wall.npz",
    "cpc-unsleeved": "verdict-sleeve.npz",
}
FLAG_AT = {
    "copper-beyond-terminal": 0.4,
    "core-outside-grip": 0.2,
    "core-outside-enclosure": 0.25,
    CUT: 0.5,
}
"""Least probability that is flagged; chosen by cross-validation over 407 of the photos that `further.toml` tells of, where
about as much of what is there was flagged as of what was flagged is there (copper of 2 mm or more 293 of 339, flags of it
468 of 523 right). A CPC cut short: of 61 cables of which these trees say so 51 are such cables, and 35 of 62 flags lie where
it is. One without sleeving is flagged by the length of bare conductor that is seen, not by these trees."""
ONE_LOOK_AT = 0.9
"""Least probability that is flagged where only one look at the photo saw the thing at all. By cross-validation
(as above, both looks' maps joined) .9 in place of .7 takes 16 false flags of 163 and 2 right ones of 717."""
UNMEASURED_AT = 0.5
"""Least probability that is flagged where the line was not found, so that no length was measured."""
CLEAR_AT = {
    "copper-beyond-terminal": 0.012,
    "core-outside-grip": 0.03,
    "core-outside-enclosure": 0.02,
    "cpc-unsleeved": 0.015,
    CUT: 0.045,
}
"""Highest probability at which a reading that has earned it may be called clear. By cross-validation
(as above, both looks' maps joined) two faults of copper (seen or hidden) of 50 places called clear, and none at wall and
grip (345 places) and of a CPC (621) was called clear by these."""

CABLE, END = "cable", "end"
REAL_FORESTS = {CABLE: "real-cable.npz", END: "real-end.npz"}
REAL_BELOW = 0.02
"""A thing that is there with less than this probability may be passed over ..."""
NO_FAULT_BELOW = {CABLE: 0.02, END: 0.01}
"""... when that of a fault is no more than this: by cross-validation (as above, but trees of the 407 alone) a tenth
of the cables and a third of the ends of one look, and with them 1 of 535 faults of copper and 1 of 279 at wall and
grip."""

REAL_TOGETHER, NO_FAULT_TOGETHER = 0.5, 0.05
"""A cable that is there with no more than this probability, by all looks together, is passed over when that of every
fault is no more than that: by cross-validation (as above, both looks' maps joined) a tenth of all unsure answers fewer,
and of 926 faults none more in silence."""


def fault_probability(check: str, evidence: F32) -> float:
    """Probability that the fault is there.

    Parameters
    ----------
    check : str
        One of `FORESTS`.
    evidence : (F,) or (n, F) float32
        Of one look, or of several at one thing: what they say is then averaged as log-odds.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ModelsError
        When the forest is missing, damaged, or wants another row.
    """
    return _told(FORESTS[check], evidence)


def real_probability(kind: str, evidence: F32) -> float:
    """Probability that a cable or an end is there at all.

    Parameters
    ----------
    kind : str
        `CABLE` or `END`.
    evidence : (F,) or (n, F) float32

    Raises
    ------
    ModelsError
        As `fault_probability`.
    """
    return _told(REAL_FORESTS[kind], evidence)


def _told(forest: str, evidence: F32) -> float:
    rows = np.atleast_2d(np.asarray(evidence, np.float32))
    told = told_first(forest, rows)
    if _grown_further():
        told = mended(told, told_first(further_of(forest), rows))
    return joined(told[:, 1])


def joined(told: F32) -> float:
    """Probabilities of several looks as one: the mean of their log-odds (a logarithmic opinion pool)."""
    if len(told) == 1:
        return float(told[0])
    sure = np.clip(told.astype(np.float64), 1e-6, 1 - 1e-6)
    return float(1 / (1 + np.exp(-np.mean(np.log(sure / (1 - sure))))))


def told_first(forest: str, rows: F32) -> F32:
    """What one stored file alone says, without what was grown upon it, (n, 2)."""
    return forest_probability(forest, rows, classes=(0, 1), n=2)


ALONE = {CUT: "verdict-cut.npz"}
"""Trees of a question that were grown on such photos alone."""


def cut_probability(evidence: F32) -> float | None:
    """Probability that a cable's CPC is cut short or does not come out; None without trees for it.

    Parameters
    ----------
    evidence : (F,) or (n, F) float32
        Of the cable's entry.

    Raises
    ------
    ModelsError
        As `fault_probability`.
    """
    if not _grown_further():
        return None
    rows = np.atleast_2d(np.asarray(evidence, np.float32))
    return joined(told_first(ALONE[CUT], rows)[:, 1])


FURTHER = "further.toml"
"""Provenance of the trees that were grown further; without it there are none."""


def further_of(forest: str) -> str:
    """File of the trees that were grown upon a stored forest, which see photos that it never saw."""
    return forest.replace(".npz", "-further.npz")


@cache
def _grown_further() -> bool:
    return (models_dir() / "materials" / FURTHER).is_file()


def looks_of(evidence: F32) -> int:
    """How many looks at a photo the evidence is of."""
    return len(np.atleast_2d(evidence))


def by_one_look(evidence: F32 | None, check: str, probability: float) -> bool:
    """Whether a fault would be flagged, had the other look seen the thing as well; not of what a person marked."""
    if evidence is None or looks_of(evidence) > 1:
        return False
    return FLAG_AT[check] <= probability < ONE_LOOK_AT


def flag_from(check: str, looks: int) -> float:
    """Least probability that is flagged of what so many looks have seen."""
    return FLAG_AT[check] if looks > 1 else max(FLAG_AT[check], ONE_LOOK_AT)


def weigh(
    check: str, probability: float, before: State, *, measured: bool, looks: int = 2
) -> State:
    """The state of a finding whose evidence was weighed.

    Parameters
    ----------
    check : str
        One of `FORESTS`.
    probability : float
        From `fault_probability`.
    before : str
        What the reading and the decision rule say alone.
    measured : bool
        Whether some length beyond the limit was measured.
    looks : int
        How many looks saw the thing.

    Returns
    -------
    str
        `flag` when the fault is likely and measured; `clear` when the rule says
        so and the evidence does too; else `unsure`.

    Examples
    --------
    >>> weigh("core-outside-grip", 0.9, "unsure", measured=True)
    'flag'
    >>> weigh("core-outside-grip", 0.9, "unsure", measured=False)
    'unsure'
    >>> weigh("core-outside-grip", 0.1, "clear", measured=False)
    'unsure'
    >>> weigh("core-outside-grip", 0.6, "unsure", measured=True, looks=1)
    'unsure'
    """
    if measured and probability >= flag_from(check, looks):
        return "flag"
    return "clear" if before == "clear" and probability <= CLEAR_AT[check] else "unsure"
