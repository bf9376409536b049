"""The pack's container: one ZIP file whose every byte follows from its members.

Members are stored, not compressed (most are pictures already, and compressed
bytes differ between versions of zlib), in the order of names, with one fixed
time. So a container can be built again from its members and compared: a
changed byte anywhere in it shows.
"""

from __future__ import annotations

import io
import stat
import zipfile
from collections.abc import Iterable, Mapping
from pathlib import PurePosixPath
from typing import IO

from audit.errors import RecordError, Where

_TIME = (1980, 1, 1, 0, 0, 0)
MAX_MEMBERS = 60_000
MAX_BYTES = 20_000_000_000
_MADE_ON_UNIX = 3


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


def read_zip(data: bytes, name: str) -> dict[str, bytes]:
    """Read a container's members, and hold every byte of it to account.

    Parameters
    ----------
    data : bytes
    name : str
        How messages name the file.

    Raises
    ------
    RecordError
        When it is no pack, or a byte is not as a pack has it.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
            _refuse_odd(infos, len(data), name)
            members = {info.filename: _member(archive, info, name) for info in infos}
    except RecordError:
        raise
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError) as exc:
        raise _no_pack(name, f"the container is damaged ({exc})") from exc
    except (OSError, ValueError, EOFError, KeyError, IndexError, OverflowError) as exc:
        raise _no_pack(name, f"the container is damaged ({exc})") from exc
    return members


def container_problem(data: bytes, members: Mapping[str, bytes], name: str) -> RecordError | None:
    """Whether the container differs from the one that its members give."""
    again = io.BytesIO()
    write_zip(again, members.items())
    made = again.getvalue()
    if made == data:
        return None
    at = next((n for n, (a, b) in enumerate(zip(made, data, strict=False)) if a != b), None)
    place = min(len(made), len(data)) if at is None else at
    return _no_pack(name, f"byte {place} of the container is not as it was written")


def _refuse_odd(infos: list[zipfile.ZipInfo], size: int, name: str) -> None:
    names = [i.filename for i in infos]
    if len(names) > MAX_MEMBERS or sum(i.file_size for i in infos) > min(MAX_BYTES, size):
        raise _no_pack(name, "the container is larger than its bytes allow")
    if len(set(names)) != len(names):
        raise _no_pack(name, "two files in it have the same name")
    for info in infos:
        path = PurePosixPath(info.filename)
        odd = path.is_absolute() or ".." in path.parts or "\\" in info.filename or info.is_dir()
        if odd or str(path) != info.filename or ":" in path.parts[0]:
            raise _no_pack(name, f"the name {info.filename[:80]!r} leads out of the pack")
        if info.compress_type != zipfile.ZIP_STORED or info.flag_bits & ~0x800:
            raise _no_pack(name, f"{info.filename[:80]!r} is not stored as a pack stores it")


def _member(archive: zipfile.ZipFile, info: zipfile.ZipInfo, name: str) -> bytes:
    try:
        return archive.read(info)
    except zipfile.BadZipFile as exc:
        raise _no_pack(name, f"{info.filename[:80]} is damaged ({exc})") from exc


def _no_pack(name: str, what: str) -> RecordError:
    return RecordError(what, Where(name), "ask for the pack again")
