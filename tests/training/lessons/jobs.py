"""A job that tells everything it should not: names, an address, GPS, maker notes, serials, labels.

Photos are from the tuning set; what stands in them is known from their truth files.
"""

from __future__ import annotations

import io
import json
import struct
from pathlib import Path

import cv2
import numpy as np
import segno
from numpy.typing import NDArray
from PIL import Image, ImageCms

from audit.card.find import find_card
from audit.card.geometry import load_card
from audit.checklist.models import Checklist, Evidence, Item, PhotoEntry
from audit.measure.contract import FindingRecord, LookRecord
from audit.photo.decode import read_photo
from audit.photo.types import Photo
from audit.record.canonical import sha256
from audit.training.lessons.from_truth import _as_look, known_photos
from tests.record import jobs as records
from tests.record.conftest import Desk, open_desk

TUNE = Path(__file__).resolve().parents[3] / "sample_images" / "bench" / "tune"
PLAIN, CARDED, PART_OF_CARD, ONE_PLACE = "tune-009", "tune-073", "tune-059", "tune-007"
"""No card in it; a whole card; a card of which one marker is seen; one fault in one place."""
LABEL = "Q7W-LANDING-SECRET"
PLANTED = (
    "Wilhelmina Testperson", "Hermione Signatory", "14 Nowhere Gardens", "ZZ99 9ZZ",
    "SERIAL-PLANTED-4471", "Phonemaker Planted", "Model Planted X", "OWNER-PLANTED",
    "MAKERNOTE-PLANTED", "XMP-PLANTED", "IPTC-PLANTED", "COMMENT-PLANTED", "TRAILER-PLANTED",
    "PROFILE-PLANTED", "WHY-PLANTED", "REASON-PLANTED", LABEL, "2031:07:09", "2031-07-09",
    "51.4321", "Job Planted Row",
)  # fmt: skip
"""Words that must not be in any exported byte."""


def with_label(photo: Photo) -> NDArray[np.uint8]:
    """The photo with a code and letters in its card's label field, where it shows a card."""
    sight = find_card(photo)
    if sight.mm_to_px is None:
        return photo.rgb
    card, per_mm = load_card(), 20
    left, top, right, low = card.qr_box_mm
    wide = round((card.label_right_mm - left) * per_mm)
    tall = round((low - top) * per_mm)
    face = np.full((tall, wide, 3), 255, np.uint8)
    modules = np.array([list(row) for row in segno.make(LABEL, error="m", micro=False).matrix])
    side = round((right - left) * per_mm)
    code = np.where(modules > 0, 0, 255).astype(np.uint8)
    face[:side, :side] = cv2.resize(code, (side, side), interpolation=cv2.INTER_NEAREST)[..., None]
    cv2.putText(face, LABEL, (side + 20, tall // 2), cv2.FONT_HERSHEY_SIMPLEX, 1.8, (0, 0, 0), 4)
    to_mm = np.array([[1 / per_mm, 0, left], [0, 1 / per_mm, top], [0, 0, 1]])
    size = (photo.rgb.shape[1], photo.rgb.shape[0])
    laid = cv2.warpPerspective(face, sight.mm_to_px @ to_mm, size, flags=cv2.INTER_AREA)
    there = cv2.warpPerspective(np.full_like(face, 255), sight.mm_to_px @ to_mm, size)
    return np.where(there > 127, laid, photo.rgb).astype(np.uint8)


def planted(photo: Path) -> bytes:
    """A photo's bytes with everything a phone and its programs may add."""
    rgb = with_label(read_photo(photo))
    with Image.fromarray(rgb) as image:
        exif = Image.Exif()
        exif[0x010F], exif[0x0110] = "Phonemaker Planted", "Model Planted X"
        exif[0x013B] = exif[0x8298] = "OWNER-PLANTED"
        exif[0x0132] = "2031:07:09 10:11:12"
        inner = exif.get_ifd(0x8769)
        inner[0xA431] = "SERIAL-PLANTED-4471"
        inner[0x927C] = b"MAKERNOTE-PLANTED"
        inner[0x9003] = "2031:07:09 10:11:12"
        gps = exif.get_ifd(0x8825)
        gps[1], gps[2], gps[3], gps[4] = "N", (51.0, 25.0, 55.56), "W", (0.0, 7.0, 39.0)
        out = io.BytesIO()
        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
        image.convert("RGB").save(out, "JPEG", quality=95, exif=exif, icc_profile=profile)
    data = out.getvalue()
    more = b"".join(
        marker + struct.pack(">H", len(text) + 2) + text
        for marker, text in (
            (b"\xff\xe1", b"http://ns.adobe.com/xap/1.0/\x00<x>XMP-PLANTED 51.4321</x>"),
            (b"\xff\xed", b"Photoshop 3.0\x008BIM\x04\x04\x00\x00\x00\x00\x00\x0cIPTC-PLANTED"),
            (b"\xff\xe2", b"MPF\x00PROFILE-PLANTED"),
            (b"\xff\xfe", b"COMMENT-PLANTED 14 Nowhere Gardens ZZ99 9ZZ"),
        )
    )
    return data[:2] + more + data[2:] + b"TRAILER-PLANTED"


def look_of(name: str, file: str, data: bytes) -> LookRecord:
    """What the tool may have read of a photo: here, what is true of it, every fault flagged."""
    raw = json.loads((TUNE / f"{name}.truth.json").read_text(encoding="utf-8"))
    known = next(k for k in known_photos(TUNE) if k.name == name)
    findings = tuple(
        FindingRecord(
            check=i.check, of=i.of, state="flag", box_px=i.box_px, value_mm=i.size_mm,
            u95_mm=None if i.size_mm is None else 0.4, score=0.9, why=f"WHY-PLANTED {LABEL}",
        )
        for i in known.truth.items
        if i.fault and i.visible > 0.5
    )  # fmt: skip
    look = LookRecord.model_validate(_as_look(raw))
    return look.model_copy(update={"photo": file, "sha256": sha256(data), "findings": findings})


def entry_of(name: str, file: str, data: bytes, view: str = "inside") -> PhotoEntry:
    """A photo as the checklist holds it."""
    return PhotoEntry(
        file=file, sha256=sha256(data), fitting=LABEL, view=view, linked_by="name",
        notes=(f"label {LABEL}",), taken="2031-07-09T10:11:12", look=look_of(name, file, data),
    )  # fmt: skip


def item_of(entry: PhotoEntry, check: str, number: int = 0) -> Item:
    """The item of one check that all of a photo's findings speak for."""
    evidence = tuple(
        Evidence(
            photo=entry.file, of=f.of, state=f.state, box_px=f.box_px, value_mm=f.value_mm,
            u95_mm=f.u95_mm, score=f.score, why=f.why,
        )
        for f in entry.look.findings
        if f.check == check
    )  # fmt: skip
    made = records.item(check, f"{LABEL}-{number}", "flag", photo=entry.file)
    return made.model_copy(
        update={"evidence": evidence, "why": f"WHY-PLANTED {LABEL}, 14 Nowhere Gardens"}
    )


def make_job(root: Path, photos: dict[str, tuple[str, str]]) -> Path:
    """A job folder whose photos are those of the tuning set, with everything planted.

    Parameters
    ----------
    root : path
    photos : dict
        By file name: name in the tuning set, view.
    """
    (root / "photos").mkdir(parents=True)
    (root / "out").mkdir()
    declared = f'\n[[fitting]]\nlabel = "{LABEL}"\n'
    (root / "job.toml").write_text(records.JOB + declared, encoding="utf-8")
    entries, items = [], []
    for number, (file, (name, view)) in enumerate(photos.items()):
        data = planted(TUNE / f"{name}.jpg")
        (root / "photos" / file).write_bytes(data)
        entries.append(entry_of(name, file, data, view))
        checks = dict.fromkeys(f.check for f in entries[-1].look.findings)
        items += [item_of(entries[-1], check, number) for check in checks]
    records.write_checklist(
        root, _named(records.checklist(items, [LABEL], entries, "2031-07-09T12:00:00Z"))
    )
    return root


def _named(made: Checklist) -> Checklist:
    head = made.job.model_copy(
        update={
            "name": "Job Planted Row", "place": "14 Nowhere Gardens ZZ99 9ZZ",
            "by": "Wilhelmina Testperson", "answers_for_it": "Hermione Signatory",
        }
    )  # fmt: skip
    return made.model_copy(update={"job": head})


def desk_of(root: Path) -> Desk:
    """Somebody who decides, with a name that must not leave."""
    return open_desk(root, by="Hermione Signatory")
