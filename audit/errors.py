"""Errors that carry what a person needs: what is wrong, where, and what to do next.

Every error that may reach the command line derives from `LidoffError`; the
command line prints `one_line()` on stderr and leaves with `exit_code`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path


class ExitCode(IntEnum):
    """Exit codes of every command."""

    DONE = 0
    """Done, nothing flagged or unsure."""
    OPEN_POINTS = 1
    """Done; something is flagged, unsure or missing."""
    USAGE = 2
    """Wrong use of the command."""
    UNREADABLE = 3
    """The job or a photo can't be read (the rest was still done where that makes sense)."""
    RECORD = 4
    """The record is damaged or fails verification."""
    RESOURCES = 5
    """A worker died or the machine ran out of something; finished work is kept."""
    INTERRUPTED = 130
    """Interrupted from the keyboard; finished work is kept."""


@dataclass(frozen=True)
class Where:
    """The place an error speaks of: a file, and in it a row and a field.

    Parameters
    ----------
    file : path or None
    row : int or None
        Line number, counted from 1 as an editor shows it.
    field : str or None
        Field name as the user wrote it, dotted for nested tables.
    """

    file: Path | str | None = None
    row: int | None = None
    field: str | None = None

    def __str__(self) -> str:
        parts: list[str] = []
        if self.file is not None:
            parts.append(str(self.file) + (f":{self.row}" if self.row is not None else ""))
        elif self.row is not None:
            parts.append(f"row {self.row}")
        if self.field:
            parts.append(f"field {self.field!r}")
        return ", ".join(parts)


class LidoffError(Exception):
    """Base of all errors shown to a person as one line.

    Parameters
    ----------
    what : str
        What is wrong, in one sentence without a full stop.
    where : Where, optional
        File, row, field.
    next_step : str, optional
        What to do next.
    """

    exit_code: ExitCode = ExitCode.UNREADABLE

    def __init__(self, what: str, where: Where | None = None, next_step: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.next_step = next_step

    def one_line(self) -> str:
        """The whole error as one printable line."""
        place = f"{self.where}: " if self.where and str(self.where) else ""
        step = f"; {self.next_step}" if self.next_step else ""
        text = f"{place}{self.what}{step}"
        return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)

    def __reduce__(self) -> tuple[type[LidoffError], tuple[str, Where | None, str]]:
        # Worker processes send errors back pickled; the default would lose two fields.
        return (type(self), (self.what, self.where, self.next_step))


class UsageError(LidoffError):
    """Wrong use of a command."""

    exit_code = ExitCode.USAGE


class JobError(LidoffError):
    """The job folder can't be read, or contradicts itself."""


class JobProblems(JobError):  # noqa: N818 - it holds errors, it is not one more
    """Several things wrong in one job, told all in one go.

    Parameters
    ----------
    problems : list of LidoffError
        In the order of file and row.
    """

    def __init__(self, problems: list[LidoffError]) -> None:
        super().__init__(f"{len(problems)} problem(s) in the job")
        self.problems = problems

    def __reduce__(self) -> tuple[type[JobProblems], tuple[list[LidoffError]]]:  # type: ignore[override]
        return (type(self), (self.problems,))


class PhotoError(LidoffError):
    """A photo can't be read."""


class ModelsError(LidoffError):
    """A shipped data file is missing or damaged."""


class RecordError(LidoffError):
    """The record is damaged or fails verification."""

    exit_code = ExitCode.RECORD


class ResourceError(LidoffError):
    """A worker died, or the machine ran out of something."""

    exit_code = ExitCode.RESOURCES
