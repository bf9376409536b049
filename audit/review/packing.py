"""The pack of a job, made for download."""

from __future__ import annotations

from pathlib import Path

from audit.batch.atomic import writing
from audit.record.evidence import JobEvidence
from audit.record.record import Record
from audit.report.pack import PackOptions, make_pack
from audit.settings import Settings


def write_pack(record: Record, job: JobEvidence, settings: Settings, target: Path) -> int:
    """Write a job's pack whole or not at all.

    Parameters
    ----------
    record : Record
    job : JobEvidence
        Adopted by the record.
    settings : Settings
    target : pathlib.Path

    Returns
    -------
    int
        Photos that were left out.

    Raises
    ------
    RecordError
        When the job does not hold against its record.
    """
    with writing(target) as file:
        packed = make_pack(record, job, file, PackOptions(settings=settings))
    return len(packed.left_out)
