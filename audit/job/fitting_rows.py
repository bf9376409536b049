"""`fittings.csv` into fittings, joined with those of `job.toml`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from audit.errors import JobError, LidoffError, Where
from audit.job.cells import CellError, cell_value
from audit.job.explain import choose_from
from audit.job.files import there
from audit.job.fitting import Fitting
from audit.job.shape import columns, kinds_of
from audit.job.sources import Source
from audit.job.table import Row, Table, read_table
from audit.job.text import read_bytes

FITTINGS_FILE = "fittings.csv"


def add_fittings(root: Path, raw: dict[str, Any], problems: list[LidoffError]) -> dict[int, Source]:
    """Put the rows of `fittings.csv`, if there, behind the fittings of `job.toml`.

    Parameters
    ----------
    root : path
        The job folder, resolved.
    raw : dict
        The data of `job.toml`; its `fitting` list is replaced by a longer one.
    problems : list of LidoffError
        Added to.

    Returns
    -------
    dict of int to Source
        Where each added fitting stands, by its place in the list.
    """
    try:
        path = there(root, FITTINGS_FILE)
        if path is None:
            return {}
        table, wrong = read_table(read_bytes(path, FITTINGS_FILE), FITTINGS_FILE, columns())
    except JobError as problem:
        problems.append(problem)
        return {}
    problems += wrong
    unknown = _unknown_headings(table, problems)
    before = raw.get("fitting", [])
    if not isinstance(before, list):
        return {}
    fittings = [_fitting(row, table, unknown, problems) for row in table.rows]
    raw["fitting"] = [*before, *fittings]
    return {
        len(before) + i: Source(FITTINGS_FILE, row.number, table.headings)
        for i, row in enumerate(table.rows)
    }


def _unknown_headings(table: Table, problems: list[LidoffError]) -> set[str]:
    known = kinds_of(Fitting)
    unknown = {name for name in table.headings if name not in known}
    problems.extend(
        JobError(
            "there is no such field of a fitting",
            Where(FITTINGS_FILE, table.heading_row, name[:64]),
            choose_from(name, list(known)),
        )
        for name in table.headings
        if name in unknown
    )
    return unknown


def _fitting(
    row: Row, table: Table, unknown: set[str], problems: list[LidoffError]
) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for name, text in row.cells.items():
        if name in unknown:
            continue
        try:
            value = cell_value(text, kinds_of(Fitting)[name], table.separator)
        except CellError as exc:
            where = Where(FITTINGS_FILE, row.number, table.headings[name])
            problems.append(JobError(exc.what, where, exc.next_step))
            continue
        if value is not None:
            values[name] = value
    return values
