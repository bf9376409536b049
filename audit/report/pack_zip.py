"""The pack's container: one ZIP file whose every byte follows from its members.

Members are stored, not compressed (most are pictures already, and compressed
bytes differ between versions of zlib), in the order of names, with one fixed
time. So a container can be built again from its members and compared: a
changed byte anywhere in it shows.
"""

from __future__ import annotations

import stat
import struct
import tempfile
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import IO

from audit.errors import RecordError, Where

_TIME = (1980, 1, 1, 0, 0, 0)
MAX_MEMBERS = 60_000
_MADE_ON_UNIX = 3
_UTF8_NAMES = 0x800
_PIECE = 1 << 20
_DAMAGE = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    NotImplementedError,
    RuntimeError,
    ValueError,
    EOFError,
    KeyError,
    IndexError,
    OverflowError,
    struct.error,
)
"""What the reader of containers raises on damaged ones."""


def write_zip(out: IO[bytes], members: Iterable[tuple[str, bytes]]) -> None:
    """Write a container.

    Parameters
    ----------
    out : binary file
    members : iterable of (str, bytes)
        In the order of names.
    """
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, data in members:
            archive.writestr(_info(name), data)


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _TIME)
    info.compress_type = zipfile.ZIP_STORED
    info.create_system = _MADE_ON_UNIX
    info.external_attr = (stat.S_IFREG | 0o644) << 16
    return info


class Pack:
    """An open container.

    Parameters
    ----------
    archive : zipfile.ZipFile
    file : binary file
        The same, open for reading.
    name : str
        How messages name it.
    """

    def __init__(self, archive: zipfile.ZipFile, file: IO[bytes], name: str) -> None:
        self._archive = archive
        self._file = file
        self._name = name
        self.names = [i.filename for i in archive.infolist()]

    def read(self, member: str) -> bytes:
        """One member's bytes.

        Raises
        ------
        RecordError
            When it is not there, or damaged.
        """
        if member not in self.names:
            raise _no_pack(member, "it is gone from the pack")
        # Not through the archive, which stops at a wrong CRC: what holds and what does
        # not is for the caller to name, and the container is compared as a whole.
        info = self._archive.getinfo(member)
        self._file.seek(info.header_offset)
        head = self._file.read(30)
        if len(head) < 30 or head[:4] != b"PK\x03\x04":
            raise _no_pack(member, "it is not where the pack says")
        self._file.seek(sum(struct.unpack("<HH", head[26:30])), 1)
        data = self._file.read(info.file_size)
        if len(data) != info.file_size:
            raise _no_pack(member, "it is cut off")
        return data

    def container_problem(self) -> RecordError | None:
        """Whether the container differs from the one that its members give.

        Raises
        ------
        RecordError
            When a member is damaged.
        """
        with tempfile.TemporaryFile() as again:
            write_zip(again, ((name, self.read(name)) for name in self.names))
            again.seek(0)
            self._file.seek(0)
            at = 0
            while True:
                one, other = self._file.read(_PIECE), again.read(_PIECE)
                if one != other:
                    at += next(
                        (n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b),
                        min(len(one), len(other)),
                    )
                    return _no_pack(self._name, f"byte {at} is not as a pack has it")
                if not one:
                    return None
                at += len(one)


@contextmanager
def open_pack(path: Path) -> Iterator[Pack]:
    """Open a container, refusing what no pack has.

    Raises
    ------
    RecordError
        When it is none.
    OSError
        When the file can't be read.
    """
    with path.open("rb") as file:
        size = path.stat().st_size
        try:
            archive = zipfile.ZipFile(file)
        except _DAMAGE as exc:
            raise _no_pack(path.name, f"this is no pack, or it is damaged ({exc})") from exc
        with archive:
            _refuse_odd(archive.infolist(), size, path.name)
            yield Pack(archive, file, path.name)


def _refuse_odd(infos: list[zipfile.ZipInfo], size: int, name: str) -> None:
    names = [i.filename for i in infos]
    if len(names) > MAX_MEMBERS or sum(i.file_size for i in infos) > size:
        raise _no_pack(name, "it says it holds more than its bytes can")
    if len(set(names)) != len(names):
        raise _no_pack(name, "two files in it have the same name")
    for info in infos:
        path = PurePosixPath(info.filename)
        odd = path.is_absolute() or ".." in path.parts or "\\" in info.filename or info.is_dir()
        if odd or str(path) != info.filename or not path.parts or ":" in path.parts[0]:
            raise _no_pack(name, f"the name {info.filename[:80]!r} leads out of the pack")
        if info.compress_type != zipfile.ZIP_STORED or info.flag_bits & ~_UTF8_NAMES:
            raise _no_pack(name, f"{info.filename[:80]!r} is not stored as a pack stores it")


def _no_pack(name: str, what: str) -> RecordError:
    return RecordError(what, Where(name), "ask for the pack again")
