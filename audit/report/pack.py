"""The pack: everything that leaves the tool, as one file with the same bytes for the same record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import IO, Any

from audit import __version__
from audit.errors import RecordError, Where
from audit.record.canonical import canonical, parse, sha256
from audit.record.entries import Entry
from audit.record.evidence import JobEvidence, photo_path, read_checklist_bytes
from audit.record.keys import Signer, fingerprint
from audit.record.record import JobState, Record
from audit.record.verify import verify_job
from audit.report.pack_csv import items_csv
from audit.report.pack_pictures import draw_all
from audit.report.pack_strip import strip
from audit.report.pack_zip import write_zip
from audit.report.pdf import make_pdf
from audit.report.pdf_data import PdfPicture, ReportSource
from audit.settings import Settings

SCHEMA = "lidoff.pack/1"
SIGNATURES = "lidoff.signatures/1"
MANIFEST = "manifest.json"
SIGNATURE = "signature.json"
RECORD = "record.jsonl"
KEPT = "as it was, metadata included"


@dataclass(frozen=True)
class PackOptions:
    """How a pack is made.

    Parameters
    ----------
    keep_metadata : bool
        Photos leave as they are, with place and device.
    signer : Signer or None
        Signs the pack as a whole.
    settings : Settings
    """

    keep_metadata: bool = False
    signer: Signer | None = None
    settings: Settings = Settings()  # noqa: RUF009 (frozen)


@dataclass(frozen=True)
class Packed:
    """What was packed.

    Parameters
    ----------
    entries, photos : int
    left_out : tuple of (str, str)
        Photos that are not in it, and why.
    warnings : tuple of str
    """

    entries: int
    photos: int
    left_out: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]


def make_pack(
    record: Record, job: JobEvidence, out: IO[bytes], options: PackOptions | None = None
) -> Packed:
    """Write a job's pack.

    Parameters
    ----------
    record : Record
        Its last checklist entry speaks of `job`.
    job : JobEvidence
    out : binary file
    options : PackOptions, optional

    Raises
    ------
    RecordError
        When the job does not hold against its record.
    ResourceError
        When the report can't be set.
    """
    verified = verify_job(job.root)
    if verified.problems:
        raise verified.problems[0]
    entries = record.entries()
    made = _Pack(job, record.state(job), entries, options or PackOptions())
    write_zip(out, made.members())
    return Packed(len(entries), len(made.photos), tuple(made.left_out), made.warnings)


class _Pack:
    """Members one after the other, so that memory does not grow with the photos."""

    def __init__(
        self, job: JobEvidence, state: JobState, entries: tuple[Entry, ...], options: PackOptions
    ) -> None:
        self._job = job
        self._state = state
        self._entries = entries
        self._options = options
        self._files: list[dict[str, Any]] = []
        self.photos: list[dict[str, Any]] = []
        self.left_out: list[tuple[str, str]] = []
        self.warnings: tuple[str, ...] = ()

    def members(self) -> Iterator[tuple[str, bytes]]:
        for name, data in self._content():
            self._files.append({"file": name, "sha256": sha256(data), "size": len(data)})
            yield name, data
        manifest = canonical(self._manifest()) + b"\n"
        yield MANIFEST, manifest
        yield SIGNATURE, canonical(self._signatures(manifest)) + b"\n"

    def _content(self) -> Iterator[tuple[str, bytes]]:
        pictures: dict[str, PdfPicture] = {}
        for drawn in draw_all(self._job, self._options.settings):
            pictures[drawn.file] = drawn.small
            yield annotated_name(drawn.file), drawn.jpeg
        yield "checklist.json", read_checklist_bytes(self._job.root)
        yield "items.csv", items_csv(self._state)
        yield from self._photos()
        yield RECORD, b"".join(_line(e) for e in self._entries)
        last = self._entries[-1]
        report = make_pdf(ReportSource(self._state, last.hash, last.at), pictures)
        self.warnings = report.warnings
        yield "report.pdf", report.pdf

    def _photos(self) -> Iterator[tuple[str, bytes]]:
        for file, original in sorted(self._job.photos.items()):
            path = photo_path(self._job.root, file)
            try:
                if self._options.keep_metadata:
                    data, suffix, how = path.read_bytes(), "", KEPT
                else:
                    done = strip(path, self._options.settings)
                    data, suffix, how = done.data, done.suffix, done.how
            except (ValueError, OSError) as exc:
                self.left_out.append((file, f"metadata can't be taken out: {exc}"))
                continue
            name = f"photos/{file}{suffix}"
            self.photos.append(
                {
                    "file": name,
                    "of": file,
                    "original_sha256": original,
                    "sha256": sha256(data),
                    "how": how,
                }
            )
            yield name, data

    def _manifest(self) -> dict[str, Any]:
        last = self._entries[-1]
        return {
            "schema": SCHEMA,
            "tool": {"name": "lidoff", "version": __version__},
            "at": last.at,
            "record": {
                "entries": last.seq,
                "head": last.hash,
                "id": self._entries[0].data["record"],
            },
            "metadata": "kept" if self._options.keep_metadata else "taken out",
            "photos": self.photos,
            "left_out": [{"of": file, "why": why} for file, why in self.left_out],
            "files": self._files,
        }

    def _signatures(self, manifest: bytes) -> dict[str, Any]:
        signer = self._options.signer
        whole = None
        if signer is not None:
            message = canonical({"schema": SIGNATURES, "manifest_sha256": sha256(manifest)})
            whole = {"public_key": signer.public_key, "signature": signer.sign(message)}
        return {
            "schema": SIGNATURES,
            "manifest_sha256": sha256(manifest),
            "pack": whole,
            "sign_offs": [_sign_off(self._state, e) for e in self._entries if e.kind == "sign-off"],
        }


def _line(entry: Entry) -> bytes:
    """One entry with its hash, so that a changed one is named and not the one after it."""
    return canonical({"body": parse(entry.body), "hash": entry.hash}) + b"\n"


def _sign_off(state: JobState, entry: Entry) -> dict[str, Any]:
    point = entry.data["hold_point"]
    now = state.sign_off(point)
    latest = now.seq == entry.seq
    return {
        "entry": entry.seq,
        "entry_sha256": entry.hash,
        "hold_point": point,
        "by": entry.by,
        "at": entry.at,
        "statement": entry.data["statement"],
        "stands": latest and now.state == "signed",
        "public_key": entry.data["public_key"],
        "fingerprint": fingerprint(entry.data["public_key"]),
        "signature": entry.data["signature"],
    }


def annotated_name(file: str) -> str:
    """Name of the annotated copy of a photo in the pack."""
    path = PurePosixPath(file)
    ending = "" if path.suffix.lower() in (".jpg", ".jpeg", ".jpe") else ".jpg"
    return f"annotated/{path}{ending}"


def pack_error(name: str, what: str) -> RecordError:
    """An error about a pack that does not hold."""
    return RecordError(what, Where(name), "ask for the pack again")
