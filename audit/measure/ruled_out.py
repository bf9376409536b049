"""Which answers in doubt are not given, since what is seen all but rules out a fault at their place.

A list of places to look at is read while it is short. To give no answer is not to call a thing clear: the cable or the
end is still told of, and who merges the answers of photos sees that it was not answered for.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

from audit.measure.contract import CABLE_CHECKS, FindingRecord
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
By cross-validation over 407 of the photos that `further.toml` tells of 870 of 5050 answers in doubt fewer, in the 88 of
sample_images/bench/tune, of another family, 200 of 1180, and of 926 and 182 faults of 1 mm or more none more in silence."""


def asked(
    findings: Sequence[FindingRecord], evidence: F32 | None, always: Collection[str] = ()
) -> list[FindingRecord]:
    """Those of the answers about one cable or one end that are given.

    Parameters
    ----------
    findings : sequence of FindingRecord
    evidence : (F,) or (n, F) float32, optional
        Of that cable or end, of one look or several; None where a person has marked it.
    always : collection of str
        Checks that are asked whatever the evidence says.

    Returns
    -------
    list of FindingRecord
        What is flagged or clear, what may be a fault, where a line that a cable crosses was found and a length
        measured, and what is in doubt beside a clear answer to the same question: there the looks at the photo do
        not agree.

    Raises
    ------
    ModelsError
        When a stored forest is missing or damaged.
    """
    kept = {f.check for f in findings if f.state == "clear"} | set(always)
    return [f for f in findings if f.check in kept or not _ruled_out(f, evidence)]


def _ruled_out(finding: FindingRecord, evidence: F32 | None) -> bool:
    most = RULED_OUT.get(finding.check)
    if finding.check in CABLE_CHECKS and finding.value_mm is not None:
        # The line was found, and a millimetre before it is more than the measurement can tell.
        return False
    if finding.check == "cpc-unsleeved" and finding.u95_mm is not None:
        # Measured bare, or perhaps bare, between sheath and sleeve: the trees learned from no such CPC.
        return False
    if finding.state != "unsure" or evidence is None or most is None:
        return False
    if finding.check in FORESTS:
        return fault_probability(finding.check, evidence) <= most
    told = cut_probability(evidence)
    return told is not None and told <= most
