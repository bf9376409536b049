"""Read a pack that came in, trusting nothing in it, and hold it to account."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.errors import RecordError, UsageError, Where
from audit.record.canonical import canonical, parse, sha256
from audit.record.errors import broken
from audit.record.keys import signature_holds
from audit.record.reading import Row
from audit.record.verify import Verified, against_files, signed_with, tell_stale, verify_entries
from audit.report.pack import KEPT, MANIFEST, RECORD, SIGNATURE, SIGNATURES, pack_error
from audit.report.pack_strip import LOSSLESS, REWRITTEN
from audit.report.pack_zip import Pack, open_pack

_HASH = "^[0-9a-f]{64}$"


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class _File(_Part):
    file: str
    sha256: str = Field(pattern=_HASH)
    size: int = Field(ge=0)


class _Photo(_Part):
    file: str
    of: str
    original_sha256: str | None = Field(pattern=_HASH)
    sha256: str = Field(pattern=_HASH)
    how: str


class _LeftOut(_Part):
    of: str
    why: str


class _Record(_Part):
    entries: int = Field(ge=1)
    head: str = Field(pattern=_HASH)
    id: str


class Manifest(_Part):
    """The pack's list of what is in it."""

    schema_: str = Field(alias="schema", pattern="^lidoff\\.pack/1$")
    tool: dict[str, str]
    at: str
    record: _Record
    metadata: str = Field(pattern="^(kept|taken out)$")
    photos: list[_Photo]
    left_out: list[_LeftOut]
    files: list[_File]


def verify_pack(path: Path, *, key: str | None = None) -> Verified:
    """Hold a pack to account: container, list, record, signatures, checklist, photos.

    Parameters
    ----------
    path : pathlib.Path
    key : str, optional
        Public key that every sign-off, and the pack where it is signed, must be signed with.
    """
    found = Verified()
    try:
        with open_pack(path) as pack:
            _verify(pack, found, key)
            found.problems += [p for p in [pack.container_problem()] if p]
            found.problems += signed_with(found, key, path.name)
            if found.holds and found.signed:
                tell_stale(found, pack.read("checklist.json"))
    except RecordError as problem:
        found.problems.append(problem)
    except OSError as exc:
        raise UsageError(f"the pack can't be read ({exc.strerror})", Where(path)) from exc
    return found


def record_rows(pack: Pack) -> Iterator[Row]:
    """Entries of the pack's record, one a line, each with its hash.

    Raises
    ------
    RecordError
        Naming the entry that can't be read.
    """
    lines = pack.read(RECORD).split(b"\n")
    for number, line in enumerate(lines[:-1], start=1):
        try:
            said = parse(line)
            if not isinstance(said, dict) or set(said) != {"body", "hash"}:
                raise ValueError("no line of a record")
            body = said["body"]
            if not isinstance(body, dict):
                raise ValueError("no entry")
            yield Row(body.get("seq"), said["hash"], body.get("key"), canonical(body))
        except (ValueError, UnicodeError) as exc:
            raise broken(number, f"damaged ({exc})", RECORD) from exc
    if lines[-1]:
        raise broken(len(lines), "it is cut off", RECORD)


def _verify(pack: Pack, found: Verified, key: str | None) -> None:
    verify_entries(found, record_rows(pack), key=key, file=RECORD)
    manifest = _manifest(pack)
    if not found.problems:
        found.problems += _record_matches(manifest, found)
    found.problems += _against_manifest(pack, manifest)
    found.problems += _signatures(pack, found, key)
    if not found.problems:
        found.problems += _contents(pack, manifest, found)


def _contents(pack: Pack, manifest: Manifest, found: Verified) -> Iterator[RecordError]:
    """Checklist and photos against the record."""
    assert found.fold.checklist is not None
    left = {p.of for p in manifest.left_out}
    hashes = {p.of: p.original_sha256 for p in manifest.photos}
    hashes |= {p.file: p.sha256 for p in found.fold.checklist.photos if p.file in left}
    yield from against_files(
        found,
        checklist=sha256(pack.read("checklist.json")),
        photo=hashes.get,
        facts=None,
    )
    yield from _photos(manifest)
    if left:
        found.notes.append(f"{len(left)} photos are not in the pack: {', '.join(sorted(left)[:5])}")


def _canonical_member(pack: Pack, name: str) -> Any:
    data = pack.read(name)
    try:
        if data[-1:] != b"\n":
            raise ValueError("cut off")
        return parse(data[:-1])
    except (ValueError, UnicodeError) as exc:
        raise pack_error(name, f"it is damaged ({exc})") from exc


def _manifest(pack: Pack) -> Manifest:
    try:
        return Manifest.model_validate(_canonical_member(pack, MANIFEST))
    except ValidationError as exc:
        first = exc.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(p) for p in first["loc"])
        raise pack_error(MANIFEST, f"{place}: {first['msg'].lower()}") from exc


def _against_manifest(pack: Pack, manifest: Manifest) -> list[RecordError]:
    problems: list[RecordError] = []
    listed = [f.file for f in manifest.files]
    if [*listed, MANIFEST, SIGNATURE] != pack.names:
        problems.append(pack_error(MANIFEST, "it does not list what is in the pack"))
    for file in manifest.files:
        if file.file not in pack.names:
            problems.append(pack_error(file.file, "it is gone"))
        elif (sha256(data := pack.read(file.file)), len(data)) != (file.sha256, file.size):
            problems.append(pack_error(file.file, "it is not the one that was packed"))
    return problems


def _record_matches(manifest: Manifest, found: Verified) -> list[RecordError]:
    if not found.entries:
        return [pack_error(RECORD, "the record holds no entry")]
    last = found.entries[-1]
    said = manifest.record
    if (said.entries, said.head, manifest.at) != (last.seq, last.hash, last.at):
        return [pack_error(RECORD, f"entry {last.seq + 1}: it is gone, or others were added")]
    if said.id != found.entries[0].data.get("record"):
        return [pack_error(MANIFEST, "it names another record")]
    if found.fold.checklist is None:
        return [pack_error(RECORD, "no checklist is in the record")]
    return []


def _photos(manifest: Manifest) -> list[RecordError]:
    """Each photo is listed as a file, and a kept one is the original."""
    files = {f.file: f.sha256 for f in manifest.files}
    problems = []
    for photo in manifest.photos:
        kept = photo.how == KEPT
        if photo.how not in (KEPT, LOSSLESS, REWRITTEN) or kept != (manifest.metadata == "kept"):
            problems.append(pack_error(photo.file, "how it was packed is not said"))
        if files.get(photo.file) != photo.sha256:
            problems.append(pack_error(photo.file, "it is not the one that was packed"))
        if kept and photo.sha256 != photo.original_sha256:
            problems.append(pack_error(photo.file, "it is not the original"))
    return problems


def _signatures(pack: Pack, found: Verified, key: str | None) -> list[RecordError]:
    """`signature.json`: the list's hash, the pack's own signature, the sign-offs again."""
    said = _canonical_member(pack, SIGNATURE)
    if not isinstance(said, Mapping) or set(said) != {
        "schema",
        "manifest_sha256",
        "pack",
        "sign_offs",
    }:
        return [pack_error(SIGNATURE, "it is no list of signatures")]
    manifest_sha256 = sha256(pack.read(MANIFEST))
    if (said["schema"], said["manifest_sha256"]) != (SIGNATURES, manifest_sha256):
        return [pack_error(SIGNATURE, f"it was made for another {MANIFEST}")]
    problems = []
    if said["pack"] is not None:
        if _pack_signed(said["pack"], manifest_sha256, key):
            found.pack_key = said["pack"]["public_key"]
        else:
            problems.append(pack_error(SIGNATURE, "the pack's signature does not hold"))
    if not problems and not found.problems:
        problems += _sign_offs(said["sign_offs"], found)
    return problems


def _pack_signed(whole: Any, manifest_sha256: str, key: str | None) -> bool:
    if not isinstance(whole, Mapping) or set(whole) != {"public_key", "signature"}:
        return False
    public, signature = whole["public_key"], whole["signature"]
    if not isinstance(public, str) or not isinstance(signature, str) or key not in (None, public):
        return False
    message = canonical({"schema": SIGNATURES, "manifest_sha256": manifest_sha256})
    return signature_holds(public, signature, message)


_FROM_ENTRY = ("hold_point", "statement", "public_key", "signature")


def _sign_offs(listed: Any, found: Verified) -> list[RecordError]:
    entries = [e for e in found.entries if e.kind == "sign-off"]
    if not isinstance(listed, list) or len(listed) != len(entries):
        return [pack_error(SIGNATURE, "it does not list the record's sign-offs")]
    for said, entry in zip(listed, entries, strict=True):
        expected = {"entry": entry.seq, "entry_sha256": entry.hash, "by": entry.by, "at": entry.at}
        expected |= {k: entry.data[k] for k in _FROM_ENTRY}
        if not isinstance(said, Mapping) or any(said.get(k) != v for k, v in expected.items()):
            return [pack_error(SIGNATURE, f"it says otherwise than entry {entry.seq}")]
    return []
