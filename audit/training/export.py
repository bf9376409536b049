"""Results for elsewhere: CSV for a spreadsheet, JSON for a program."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Sequence
from pathlib import Path

from audit.batch.atomic import write_bytes
from audit.errors import ResourceError, UsageError, Where
from audit.report.pack_csv import harmless
from audit.training.store import Round

COLUMNS = (
    "round", "at", "trainee", "set", "photo", "photo sha256", "answered", "counted", "seconds",
    "agreement", "verdict", "fault", "named", "length mm", "length told mm", "length error mm",
)  # fmt: skip
SUFFIXES = (".csv", ".json")


def as_csv(rounds: Sequence[Round]) -> bytes:
    """One row for each fault and each mark; a round with neither has one row.

    Returns
    -------
    bytes
        RFC 4180, UTF-8 with a byte order mark (spreadsheets ask for it), CRLF.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for number, each in enumerate(rounds, start=1):
        for row in _rows(number, each):
            writer.writerow([harmless(cell) for cell in row])
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def _rows(number: int, r: Round) -> Iterator[list[str]]:
    head = [
        str(number), r.at.isoformat(), r.trainee, r.set, r.title, r.photo, r.given.kind,
        "yes" if r.counted else "no", _figure(r.seconds), f"{r.score.agreement:.3f}",
    ]  # fmt: skip
    if not r.score.lines:
        yield [*head, "right" if r.score.right else "wrong", *[""] * 5]
    for line in r.score.lines:
        answer = None if line.answer is None else r.sheet.answers[line.answer]
        mark = None if line.mark is None else r.given.marks[line.mark]
        yield [
            *head,
            line.verdict,
            answer.check if answer else "",
            mark.check if mark else "",
            _figure(answer.length_mm if answer else None),
            _figure(mark.length_mm if mark else None),
            # A figure: its sign is no formula, and a bare number needs no guard.
            _figure(line.length_error_mm),
        ]


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def as_json(rounds: Sequence[Round]) -> bytes:
    """All rounds whole, schema `lidoff.practice-results/1`."""
    data = {
        "schema": "lidoff.practice-results/1",
        "rounds": [r.model_dump(mode="json", by_alias=True) for r in rounds],
    }
    return (json.dumps(data, ensure_ascii=False, indent=1) + "\n").encode("utf-8")


def write(rounds: Sequence[Round], path: Path) -> None:
    """Write results whole or not at all, as the file's ending says.

    Raises
    ------
    UsageError
        When the ending is neither .csv nor .json.
    ResourceError
        When the file can't be written.
    """
    ending = path.suffix.lower()
    if ending not in SUFFIXES:
        raise UsageError("results are written as .csv or .json", Where(path), "choose one of both")
    try:
        write_bytes(path, as_csv(rounds) if ending == ".csv" else as_json(rounds))
    except OSError as exc:
        raise ResourceError(
            f"it can't be written ({exc.strerror or exc})", Where(path), "choose another place"
        ) from exc
