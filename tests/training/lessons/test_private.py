"""Nothing that names a place, a person or a device is in any exported byte."""

from __future__ import annotations

import base64
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import StreamObject

from audit.card.find import find_card
from audit.photo.decode import read_photo
from audit.record.types import Agree, Overrule
from audit.settings import Settings
from audit.training.lessons import door
from audit.training.lessons.door import Shot
from audit.training.lessons.make import Choice, from_record, sheet_files
from tests.training.lessons.jobs import CARDED, LABEL, ONE_PLACE, PLAIN, PLANTED, desk_of, make_job

FILES = {"F01-inside.jpg": (PLAIN, "inside"), "F02-terminals.jpg": (CARDED, "terminals")}


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    root = make_job(tmp_path_factory.mktemp("private") / "14 Nowhere Gardens", FILES)
    desk = desk_of(root)
    for standing in desk.state.standings.values():
        desk.decide(standing.item.id, Agree())
    made = from_record(root, Choice(all_photos=True), Settings())
    assert made.refused == ()
    assert len(made.sheets) == len({s.item.id for s in desk.state.standings.values()})
    return sheet_files(made.sheets)


def streams(pdf: bytes) -> Iterator[bytes]:
    """Every stream of a PDF, decoded, and every object as text: metadata, alt texts, pictures."""
    reader = PdfReader(io.BytesIO(pdf))
    for number in range(1, len(reader.xref[0]) + len(reader.xref_objStm) + 2):
        try:
            found = reader.get_object(number)
        except Exception:  # numbers that are not in use
            continue
        yield repr(found).encode()
        if isinstance(found, StreamObject):
            try:
                yield found.get_data()
            except Exception:  # a picture in its own coding
                yield found._data
    for page in reader.pages:
        yield page.extract_text().encode()
    assert reader.metadata is not None
    yield repr(dict(reader.metadata)).encode()


def pictures(data: bytes) -> list[bytes]:
    """JPEG files inside a page or a PDF."""
    coded = re.findall(rb"data:image/jpeg;base64,([A-Za-z0-9+/=]+)", data)
    if coded:
        return [base64.b64decode(c) for c in coded]
    reader = PdfReader(io.BytesIO(data))
    found = []
    for image in (i for p in reader.pages for i in p.images):
        assert image.indirect_reference is not None
        stream = reader.get_object(image.indirect_reference)
        assert isinstance(stream, StreamObject)
        # Not image.data: the reader saves that anew, and leaves EXIF out.
        found.append(stream._data if str(stream["/Filter"]) == "/DCTDecode" else image.data)
    return found


def everything(name: str, data: bytes) -> Iterator[bytes]:
    yield name.encode()
    yield data
    if name.endswith(".pdf"):
        yield from streams(data)
    yield from pictures(data)


def test_the_trap_is_set(tmp_path: Path) -> None:
    """The same search finds the planted words in the photos as they lie in the job."""
    root = make_job(tmp_path / "j", {"F01-inside.jpg": (PLAIN, "inside")})
    data = (root / "photos" / "F01-inside.jpg").read_bytes()
    hidden = [w for w in PLANTED if w.encode() in data]
    assert {"SERIAL-PLANTED-4471", "XMP-PLANTED", "IPTC-PLANTED", "TRAILER-PLANTED"} <= set(hidden)
    checklist = (root / "out" / "checklist.json").read_text(encoding="utf-8")
    assert {w for w in PLANTED if w in checklist} >= {"WHY-PLANTED", "Job Planted Row"}


def test_the_search_sees_what_stays_in_an_exported_picture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A door that forgot to take the metadata out would be seen in each of the four files."""

    def careless(picture: Image.Image, side: int, alt: str) -> Shot:
        small = picture.resize((side, side * 3 // 4))
        exif = Image.Exif()
        exif[0x010F] = "Phonemaker Planted"
        out = io.BytesIO()
        small.save(out, "JPEG", exif=exif, comment=b"COMMENT-PLANTED")
        return Shot(out.getvalue(), small.size, alt)

    monkeypatch.setattr(door, "_shot", careless)
    root = make_job(tmp_path / "j", {"F01-inside.jpg": (PLAIN, "inside")})
    desk = desk_of(root)
    for standing in desk.state.standings.values():
        desk.decide(standing.item.id, Agree())
    files = sheet_files(from_record(root, Choice(all_photos=True), Settings()).sheets)
    for name, data in files.items():
        parts = list(everything(name, data))
        for word in (b"Phonemaker Planted", b"COMMENT-PLANTED"):
            assert any(word in part for part in parts), name
        assert any(b"Exif" in jpeg for jpeg in pictures(data)), name


@pytest.mark.parametrize("word", [*PLANTED, "F01-inside", "F02-terminals", "12 Sample Row"])
def test_no_planted_word_leaves(exported: dict[str, bytes], word: str) -> None:
    for name, data in exported.items():
        for part in everything(name, data):
            low = part.lower()
            assert word.lower().encode() not in low, name
            assert word.lower().encode("utf-16-be") not in low, name
            assert word.lower().encode("utf-16-le") not in low, name


def test_no_picture_carries_metadata(exported: dict[str, bytes]) -> None:
    """ITU-T T.81, annex B: APPn markers and comments. JFIF alone may stay; so says ISO/IEC 10918-5."""
    count = 0
    for data in exported.values():
        for jpeg in pictures(data):
            count += 1
            with Image.open(io.BytesIO(jpeg)) as image:
                assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
                assert not image.getexif()
            for mark in (b"Exif", b"http://ns.adobe", b"8BIM", b"ICC_PROFILE", b"MPF\x00"):
                assert mark not in jpeg
    assert count > 10


def test_the_cards_label_can_not_be_read(exported: dict[str, bytes], tmp_path: Path) -> None:
    root = make_job(tmp_path / "j", {"F02-terminals.jpg": (CARDED, "terminals")})
    before = find_card(read_photo(root / "photos" / "F02-terminals.jpg"))
    assert before.label == LABEL, "the card of this photo has a label that can be read"
    seen = 0
    jpegs = {jpeg for data in exported.values() for jpeg in pictures(data)}
    for number, jpeg in enumerate(sorted(jpegs)):
        path = tmp_path / f"{number}.jpg"
        path.write_bytes(jpeg)
        rgb = np.asarray(Image.open(path).convert("RGB"))
        found = find_card(read_photo(path))
        seen += found.found
        assert found.label is None
        text, *_ = cv2.QRCodeDetector().detectAndDecode(rgb)
        assert not text
    assert seen >= 1, "the card itself is still in the picture, its label is not"


@pytest.mark.parametrize("read", [True, False])
def test_the_label_is_covered_whether_or_not_the_reading_tells_the_card(
    tmp_path: Path, read: bool
) -> None:
    """Where the look says where the card lies, it is not searched for again."""
    root = make_job(tmp_path / "j", {"F02-terminals.jpg": (CARDED, "terminals")})
    photo = read_photo(root / "photos" / "F02-terminals.jpg")
    if read:
        sight = find_card(photo)
        assert sight.corners_px is not None
        corners = [[float(x), float(y)] for x, y in sight.corners_px]
        checklist = root / "out" / "checklist.json"
        said = json.loads(checklist.read_text(encoding="utf-8"))
        said["photos"][0]["look"]["card"] = {"found": True, "corners_px": corners, "lost_at": None}
        checklist.write_text(json.dumps(said), encoding="utf-8")
    desk = desk_of(root)
    for standing in desk.state.standings.values():
        desk.decide(standing.item.id, Agree())
    (sheet, *_) = from_record(root, Choice(all_photos=True), Settings()).sheets
    path = tmp_path / "out.jpg"
    path.write_bytes(sheet.bare.jpeg)
    found = find_card(read_photo(path))
    assert found.found
    assert found.label is None


def test_dates_of_the_files_say_nothing(exported: dict[str, bytes]) -> None:
    for name in ("lesson-answers.pdf", "lesson-handout.pdf"):
        meta = PdfReader(io.BytesIO(exported[name])).metadata
        assert meta is not None
        assert {meta.get(k, "D:1970")[:6] for k in ("/CreationDate", "/ModDate")} == {"D:1970"}


def test_words_of_a_person_stay(tmp_path: Path) -> None:
    """A reason that somebody typed may name anybody: it is in no sheet."""
    root = make_job(tmp_path / "j", {"F01-inside.jpg": (ONE_PLACE, "inside")})
    checklist = root / "out" / "checklist.json"
    checklist.write_text(
        checklist.read_text(encoding="utf-8").replace('"state": "flag"', '"state": "unsure"'),
        encoding="utf-8",
    )
    desk = desk_of(root)
    for standing in desk.state.standings.values():
        if len(standing.item.evidence) == 1:
            desk.decide(standing.item.id, Overrule("REASON-PLANTED by Wilhelmina", "fault"))
    assert any(s.finds_fault for s in desk.state.standings.values())
    made = from_record(root, Choice(all_photos=True), Settings())
    for name, data in sheet_files(made.sheets).items():
        assert all(b"REASON-PLANTED" not in part for part in everything(name, data))
