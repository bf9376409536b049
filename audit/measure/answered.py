"""What of a photo is answered for, by its record alone."""

from __future__ import annotations

from audit.measure.contract import CABLE_CHECKS, COPPER_CHECK, LookRecord


def all_answered(record: LookRecord) -> bool:
    """Whether every cable and every end of an insulated core that is told of is answered for.

    Where what is seen all but rules a fault out nothing is asked (`audit.measure.ruled_out`), and silence is no answer.
    """
    answered = {(f.of, f.check) for f in record.findings}
    asked: set[tuple[str, str]] = {(c.id, check) for c in record.cables for check in CABLE_CHECKS}
    for end in record.ends:
        # What leaves the picture has no end there to be asked of.
        if end.colour != "bare" and end.ends_at != "leaves_picture":
            asked.add((end.id, COPPER_CHECK))
    return asked <= answered


def nothing_said(record: LookRecord) -> str:
    """What is told of a photo that was read and gave no answer."""
    if record.cables or record.ends:
        return "nothing in it looks like a fault, nor shows plainly that there is none"
    return "nothing in it could be judged"
