"""`fittings.csv` and `declarations.csv` into rows, joined with what `job.toml` holds of the same."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import BaseModel

from audit.errors import JobError, LidoffError, Where
from audit.job.cells import CellError, cell_value
from audit.job.declaration import Declaration
from audit.job.explain import choose_from
from audit.job.files import there
from audit.job.fitting import Fitting
from audit.job.shape import columns, kinds_of
from audit.job.sources import Source
from audit.job.table import Row, Table, read_table
from audit.job.text import read_bytes

FITTINGS_FILE = "fittings.csv"
DECLARATIONS_FILE = "declarations.csv"

_TABLES: dict[str, tuple[str, type[BaseModel]]] = {
    "fitting": (FITTINGS_FILE, Fitting),
    "declaration": (DECLARATIONS_FILE, Declaration),
}
_NO_FIELD = {
    "fitting": "there is no such field of a fitting",
    "declaration": "there is no such field of a declaration",
}


def add_rows(
    root: Path, kind: str, raw: dict[str, Any], problems: list[LidoffError]
) -> dict[int, Source]:
    """Put the rows of a table, if there, behind the entries of `job.toml`.

    Parameters
    ----------
    root : path
        The job folder, resolved.
    kind : {'fitting', 'declaration'}
    raw : dict
        The data of `job.toml`; its list of this kind is replaced by a longer one.
    problems : list of LidoffError
        Added to.

    Returns
    -------
    dict of int to Source
        Where each added entry stands, by its place in the list.
    """
    file, model = _TABLES[kind]
    try:
        path = there(root, file)
        if path is None:
            return {}
        table, wrong = read_table(read_bytes(path, file), file, columns(model))
    except JobError as problem:
        problems.append(problem)
        return {}
    problems += wrong
    unknown = _unknown_headings(kind, table, problems)
    before = raw.get(kind, [])
    if not isinstance(before, list):
        return {}
    entries = [_entry(kind, row, table, unknown, problems) for row in table.rows]
    if entries or kind == "fitting":
        raw[kind] = [*before, *entries]
    return {
        len(before) + i: Source(file, row.number, table.headings)
        for i, row in enumerate(table.rows)
    }


def _unknown_headings(kind: str, table: Table, problems: list[LidoffError]) -> set[str]:
    file, model = _TABLES[kind]
    known = kinds_of(model)
    unknown = {name for name in table.headings if name not in known}
    problems.extend(
        JobError(
            _NO_FIELD[kind],
            Where(file, table.heading_row, name[:64]),
            choose_from(name, list(known)),
        )
        for name in table.headings
        if name in unknown
    )
    return unknown


def _entry(
    kind: str, row: Row, table: Table, unknown: set[str], problems: list[LidoffError]
) -> dict[str, Any]:
    file, model = _TABLES[kind]
    values: dict[str, Any] = {}
    for name, text in row.cells.items():
        if name in unknown:
            continue
        try:
            value = cell_value(text, kinds_of(model)[name], table.separator)
        except CellError as exc:
            where = Where(file, row.number, table.headings[name])
            problems.append(JobError(exc.what, where, exc.next_step))
            continue
        if value is not None:
            values[name] = value
    return values
