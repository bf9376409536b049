"""`fittings.csv` as it comes out of a spreadsheet, into rows of text with their line numbers.

The separator is the one that makes most of the header known; guessing it from
the frequency of characters, as general sniffers do, fails on the decimal commas
and short tables that are usual here. Quoting and line ends are the standard
library's `csv` (RFC 4180).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from audit.errors import JobError, LidoffError, Where
from audit.job.text import decode, same_key, tidy

SEPARATORS = (",", ";", "\t", "|")
MAX_ROWS = 5000
"""Most rows that are read; a bigger table is not one job."""


@dataclass(frozen=True)
class Row:
    """One filled row.

    Parameters
    ----------
    number : int
        Line of the file on which the row begins, counted from 1.
    cells : mapping of str to str
        Field name to text, empty cells left out.
    """

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class Table:
    """A read table.

    Parameters
    ----------
    rows : tuple of Row
    headings : mapping of str to str
        Field name to the heading as the user wrote it.
    heading_row : int
        Its line.
    separator : str
    encoding : str
    """

    rows: tuple[Row, ...]
    headings: Mapping[str, str]
    heading_row: int
    separator: str
    encoding: str


def heading_key(heading: str) -> str:
    """What headings are compared by: `" IP Rating "` and `ip_rating` give `ip_rating`."""
    return re.sub(r"[^0-9a-z]+", "_", same_key(heading)).strip("_")


def read_table(
    data: bytes, name: str, columns: Mapping[str, str]
) -> tuple[Table, list[LidoffError]]:
    """Read a table whose columns are known.

    Parameters
    ----------
    data : bytes
        The file.
    name : str
        How messages name it.
    columns : mapping of str to str
        Every accepted heading in the form of `heading_key`, to its field name.

    Returns
    -------
    table : Table
    problems : list of LidoffError
        What is wrong with the header and the shape of rows. Headings that are not
        known come back as columns under their own name; the caller judges them.

    Raises
    ------
    JobError
        Not text, no header, or too many rows.
    """
    text, encoding = decode(data, name, legacy=True)
    text = text.lstrip("\ufeff")
    told = _told_separator(text)
    if told:
        # Keep the line so that line numbers stay those of the file.
        text = "\n" + text.split("\n", 1)[1] if "\n" in text else ""
    separator = told or _separator(text, columns)
    problems: list[LidoffError] = []
    lines = _lines(text, separator, name, problems)
    first, heading_row = next(lines, (0, []))
    if not heading_row:
        raise (
            problems[0]
            if problems
            else JobError(
                "this table is empty",
                Where(name),
                "put a heading row and one row for each fitting in it, or delete the file",
            )
        )
    fields, headings = _fields(heading_row, first, name, columns, problems)
    rows: list[Row] = []
    for number, cells in lines:
        if len(rows) >= MAX_ROWS:
            raise JobError(
                f"this table has more than {MAX_ROWS} rows",
                Where(name, number),
                "one job is one place of work: split it",
            )
        rows.append(_row(number, cells, fields, name, problems))
    return Table(tuple(rows), headings, first, separator, encoding), problems


def _told_separator(text: str) -> str | None:
    """A first line `sep=;`, which some spreadsheets write and read."""
    found = re.match(r'"?sep=(.)"?\r?(?:\n|$)', text, re.IGNORECASE)
    return found[1] if found else None


def _separator(text: str, columns: Mapping[str, str]) -> str:
    lines = text[:100_000].splitlines()
    head = next((line for line in lines if line.strip(' \t,;|"')), "".join(lines[:1]))

    def known(separator: str) -> tuple[int, int]:
        cells = next(csv.reader([head], delimiter=separator, strict=False), [])
        return sum(heading_key(c) in columns for c in cells), len(cells)

    try:
        return max(SEPARATORS, key=known)
    except csv.Error:
        return ","


def _lines(
    text: str, separator: str, name: str, problems: list[LidoffError]
) -> Iterator[tuple[int, list[str]]]:
    """Filled rows with the line each begins on; a broken quote ends them with a problem."""
    reader = csv.reader(
        # Strict, because otherwise a forgotten quote swallows all later rows silently.
        io.StringIO(text, newline=""),
        delimiter=separator,
        skipinitialspace=True,
        strict=True,
    )
    begins = 1
    try:
        for raw in reader:
            cells = [tidy(c) for c in raw]
            if any(cells):
                yield begins, cells
            begins = reader.line_num + 1
    except csv.Error:
        problems.append(
            JobError(
                "a quoted cell that begins in this row does not end as it should",
                Where(name, begins),
                'close the quote; a quote within a quoted cell is written twice ("")',
            )
        )


_SPARE = ""
"""Field name of a column without a heading."""
_DOUBLE = "\0double"
"""Field name of a column whose meaning another column already has."""


def _fields(
    cells: Sequence[str],
    row: int,
    name: str,
    columns: Mapping[str, str],
    problems: list[LidoffError],
) -> tuple[list[str], dict[str, str]]:
    fields: list[str] = []
    headings: dict[str, str] = {}
    for cell in cells:
        field = columns.get(heading_key(cell), cell)
        if cell and field in headings:
            problems.append(
                JobError(
                    f"two columns mean the same: {headings[field]!r} and {cell!r}",
                    Where(name, row, cell),
                    "delete or rename one of them",
                )
            )
            field = _DOUBLE
        elif cell:
            headings[field] = cell
        fields.append(field)
    return fields, headings


def _row(
    number: int,
    cells: Sequence[str],
    fields: Sequence[str],
    name: str,
    problems: list[LidoffError],
) -> Row:
    pairs = [(f, c) for f, c in zip(fields, cells, strict=False) if c]
    extra = [c for c in cells[len(fields) :] if c]
    nameless = [c for f, c in pairs if f == _SPARE]
    if extra:
        problems.append(
            JobError(
                f"this row has {len(cells)} cells but the heading row has {len(fields)}",
                Where(name, number),
                "put quotes round a cell that holds the separator",
            )
        )
    elif nameless:
        problems.append(
            JobError(
                f"the cell {nameless[0][:40]!r} stands under no heading",
                Where(name, number),
                "give the column a heading or empty it",
            )
        )
    return Row(number, {f: c for f, c in pairs if f not in {_SPARE, _DOUBLE}})
