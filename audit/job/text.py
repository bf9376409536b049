"""Reading small text files of a job with bounds, and judging the names found in them.

A spreadsheet or an editor on another machine decides how a text file is
stored; the rules here are fixed rather than guessed, because a short file
gives a guesser nothing to go on: a byte order mark is believed, then UTF-16
by its regular zero bytes, then UTF-8, then (for tables only) Windows-1252.
"""

from __future__ import annotations

import codecs
import os
import stat
import unicodedata
from pathlib import Path

from audit.errors import JobError, LidoffError, Where

MAX_TEXT_BYTES = 4_000_000
"""Largest `job.toml`, `fittings.csv` or `marks.json` that is read; 500 fittings need 0.1 MB."""

_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),  # before UTF-16: its mark begins with UTF-16's
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def open_refused(path: Path, name: str, exc: OSError) -> LidoffError:
    """Turn an operating system error about `path` into our one line."""
    if isinstance(exc, FileNotFoundError):
        return JobError("there is no such file", Where(name), "put it there or correct the name")
    if isinstance(exc, PermissionError):
        return JobError("this may not be read", Where(name), "give yourself the right to read it")
    if isinstance(exc, IsADirectoryError):
        return JobError("this is a folder, not a file", Where(name), "put a file in its place")
    reason = os.strerror(exc.errno) if exc.errno else str(exc)
    return JobError(
        f"this file can't be read ({reason})", Where(name), "check the disk and the link"
    )


def read_bytes(path: Path, name: str, limit: int = MAX_TEXT_BYTES) -> bytes:
    """Read a regular file of at most `limit` bytes.

    Parameters
    ----------
    path : path
    name : str
        How messages name the file (relative to the job folder).
    limit : int
        Bytes.

    Raises
    ------
    JobError
        Missing, unreadable, not a regular file, or too large.
    """
    try:
        info = path.stat()
        if stat.S_ISDIR(info.st_mode):
            raise IsADirectoryError
        if not stat.S_ISREG(info.st_mode):
            # A pipe or a device would block for ever or never end.
            raise JobError("this is not a regular file", Where(name), "put a file in its place")
        with path.open("rb") as handle:
            data = handle.read(limit + 1)
    except OSError as exc:
        raise open_refused(path, name, exc) from exc
    if len(data) > limit:
        raise JobError(
            f"this file is larger than {limit // 1_000_000} MB, which no job needs",
            Where(name),
            "remove what doesn't belong in it or split the job",
        )
    return data


_HEAD = 40
"""Bytes that tell UTF-16 without a mark: a heading's first twenty characters, before any name that may
be in other letters."""


def _looks_utf16(data: bytes) -> str | None:
    head = data[:_HEAD]
    if len(head) < 4:
        return None
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = len(head) // 2
    # Text in western letters has a zero in every other byte; a stray NUL hasn't.
    if odd > 0.6 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.6 * half and odd < 0.1 * half:
        return "utf-16-be"
    return None


def decode(data: bytes, name: str, *, legacy: bool) -> tuple[str, str]:
    """Bytes to text, with the encoding that was used.

    Parameters
    ----------
    data : bytes
    name : str
        How messages name the file.
    legacy : bool
        Whether Windows-1252 is allowed when the bytes are not UTF-8.

    Raises
    ------
    JobError
        With the line of the first byte that is not text.
    """
    encoding = next((e for bom, e in _BOMS if data.startswith(bom)), None)
    encoding = encoding or _looks_utf16(data) or "utf-8"
    try:
        return data.decode(encoding), encoding
    except UnicodeDecodeError as exc:
        bad = exc
    if legacy and encoding == "utf-8":
        try:
            return data.decode("cp1252"), "cp1252"
        except UnicodeDecodeError as exc:
            bad = exc
    row = data.count(b"\n", 0, bad.start) + 1
    raise JobError(
        "there are bytes here that are not text in UTF-8",
        Where(name, row),
        "save the file again as UTF-8",
    ) from bad


def tidy(text: str) -> str:
    """Composed form (NFC), no-break and other odd spaces made plain, outer spaces dropped."""
    composed = unicodedata.normalize("NFC", text)
    return "".join(" " if unicodedata.category(c) == "Zs" else c for c in composed).strip()


def writable(text: str) -> str:
    """A text that UTF-8 can hold: a file's name need not, where its bytes are no UTF-8.

    Examples
    --------
    >>> writable("hall\\udce9.jpg")
    'hall?.jpg'
    """
    return text.encode("utf-8", "replace").decode("utf-8")


_NAMED = {"\n": "a line break", "\r": "a line break", "\t": "a tab", "\0": "a zero byte"}


def odd_character(text: str) -> str | None:
    """Name of the first character that can't be seen or printed, or None.

    Control characters, line ends, and the marks that reverse the direction of
    writing: each can make a name read as another one.
    """
    for char in text:
        if unicodedata.category(char) in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}:
            told = unicodedata.name(char, f"character U+{ord(char):04X}")
            return _NAMED.get(char, f"the invisible {told.lower().replace('u+', 'U+')}")
    return None


def same_key(text: str) -> str:
    """What two names are compared by: NFKC, case folded, spaces single."""
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    return " ".join(folded.split())
