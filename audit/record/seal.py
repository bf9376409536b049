"""The seal beside the record: how far it reached, and the hash of its file at rest.

The chain shows that no entry was changed; it can't show that the last ones are
gone, nor that a byte was changed where the database keeps nothing. Both are
what `record.seal` is for: number and hash of the last entry, and the SHA-256
of the whole `record.sqlite`. It is written after an entry is on the disk and
before the entry is acknowledged, so it is never ahead of the record; after a
crash it may be behind, and the next opening brings it up.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from audit.record.canonical import canonical, parse
from audit.record.errors import broken

NAME = "record.seal"
SCHEMA = "lidoff.seal/1"
_FIELDS = {"schema", "seq", "head", "file_sha256"}
_HEX = set("0123456789abcdef")


@dataclass(frozen=True, slots=True)
class Seal:
    """What the seal says.

    Parameters
    ----------
    seq : int
        Number of the last entry.
    head : str
        Its hash.
    file_sha256 : str
        Of `record.sqlite`.
    """

    seq: int
    head: str
    file_sha256: str

    def to_bytes(self) -> bytes:
        """Canonical JSON and a line feed: one way only to write it."""
        body = {
            "schema": SCHEMA,
            "seq": self.seq,
            "head": self.head,
            "file_sha256": self.file_sha256,
        }
        return canonical(body) + b"\n"


def read_seal(root: Path) -> Seal | None:
    """Read the seal, or None when there is none.

    Raises
    ------
    RecordError
        When it is damaged.
    """
    path = root / NAME
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    try:
        if data[-1:] != b"\n":
            raise ValueError("cut off")
        found = parse(data[:-1])
        if not isinstance(found, dict) or set(found) != _FIELDS or found["schema"] != SCHEMA:
            raise ValueError("not a seal")
        seq, head, file = found["seq"], found["head"], found["file_sha256"]
        if not isinstance(seq, int) or seq < 1 or not (_is_hash(head) and _is_hash(file)):
            raise ValueError("not a seal")
    except (ValueError, UnicodeError) as exc:
        raise broken(None, f"the seal is damaged ({exc})", NAME) from exc
    return Seal(seq, head, file)


def _is_hash(value: object) -> bool:
    return isinstance(value, str) and len(value) == 64 and set(value) <= _HEX


def write_seal(root: Path, seal: Seal) -> None:
    """Put the seal in the place of the old one, whole or not at all.

    Raises
    ------
    OSError
        When the folder can't be written or the disk is full.
    """
    # One writer at a time (the caller holds the record's write lock), so one name
    # will do, and what a killed process left is overwritten.
    temporary = root / f".{NAME}.part"
    with temporary.open("wb") as out:
        out.write(seal.to_bytes())
        out.flush()
        os.fsync(out.fileno())
    temporary.replace(root / NAME)
