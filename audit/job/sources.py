"""Where everything a job declares stands: file, line, field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from audit.errors import Where

JOB_FILE = "job.toml"

FieldPath = tuple[str | int, ...]
"""TOML names and indices from 0, as `("fitting", 3, "ip")`."""


@dataclass(frozen=True)
class Source:
    """Where one entry of the job stands.

    Parameters
    ----------
    file : str
        Relative to the job folder.
    row : int or None
        Line, counted from 1.
    fields : mapping of str to str
        Field names to the headings of a table, where it came from one.
    """

    file: str
    row: int | None
    fields: Mapping[str, str] | None = None


@dataclass(frozen=True)
class Sources:
    """Where everything declared stands.

    Parameters
    ----------
    lines : mapping of path to int
        Lines of `job.toml`; a path is of TOML names and indices from 0.
    rows : mapping of int to Source
        Fittings that came from `fittings.csv`, by their place among all fittings.
    declared : mapping of int to Source
        Declarations that came from `declarations.csv`, likewise.
    """

    lines: Mapping[FieldPath, int]
    rows: Mapping[int, Source]
    declared: Mapping[int, Source] = field(default_factory=dict)

    def _row(self, path: FieldPath) -> Source | None:
        tables = {"fitting": self.rows, "declaration": self.declared}
        if len(path) < 2 or path[0] not in tables or not isinstance(path[1], int):
            return None
        return tables[str(path[0])].get(path[1])

    def source(self, table: str, index: int) -> Source:
        """Where one fitting, room, circuit or photo entry stands.

        Parameters
        ----------
        table : str
            `fitting`, `room`, `circuit`, `photo` or `declaration`.
        index : int
            From 0.
        """
        return self._row((table, index)) or Source(JOB_FILE, self.lines.get((table, index)))

    def where(self, path: FieldPath) -> Where:
        """File, row and field of a path, for a message."""
        # A name may be anything and of any length; a message must stay a line.
        names = [p if len(p) <= 60 else p[:59] + "…" for p in path if isinstance(p, str)]
        source = self._row(path)
        if source is not None:
            headings = source.fields or {}
            name = headings.get(names[1], names[1]) if len(names) > 1 else None
            return Where(source.file, source.row, name)
        row = None
        for end in range(len(path), 0, -1):
            row = self.lines.get(path[:end])
            if row is not None:
                break
        return Where(JOB_FILE, row, ".".join(names) or None)
