"""Which answers in doubt are not given, since what is seen all but rules out a fault at their place.

A list of places to look at is read while it is short. To give no answer is not to call a thing clear: the cable or the
end is still told of, and who merges the answers of photos sees that it was not answered for.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from audit.measure.contract import FindingRecord
from audit.measure.verdicts import CUT, FORESTS, cut_probability, fault_probability
from audit.sight.types import F32

RULED_OUT: Mapping[str, float] = MappingProxyType(
    {
        "copper-beyond-terminal": 0.012,
        "core-outside-enclosure": 0.01,
        "core-outside-grip": 0.03,
        "cpc-unsleeved": 0.015,
        CUT: 0.045,
    }
)
"""Highest probability of a fault at which nothing is asked: no higher than what is called clear where it is plainly seen.
By cross-validation over 407 of the photos that `further.toml` tells of 1380 of 4880 answers in doubt fewer, and of 926 faults of
1 mm or more (and of 136 smaller ones) none more in silence; twice as high, two more, and six of the smaller. In the 88 photos of
sample_images/bench/tune, of another family, 1 of 182 more."""


def ruled_out(finding: FindingRecord, evidence: F32 | None) -> bool:
    """Whether an answer is one that need not be given.

    Parameters
    ----------
    finding : FindingRecord
    evidence : (F,) or (n, F) float32, optional
        Of the cable or the end that it is about; None where a person has marked it.

    Returns
    -------
    bool
        False for what is flagged or clear.

    Raises
    ------
    ModelsError
        When a stored forest is missing or damaged.
    """
    most = RULED_OUT.get(finding.check)
    if finding.state != "unsure" or evidence is None or most is None:
        return False
    if finding.check in FORESTS:
        return fault_probability(finding.check, evidence) <= most
    told = cut_probability(evidence)
    return told is not None and told <= most
