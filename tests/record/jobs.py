"""Small jobs with photos and a checklist, made up for tests of the record and the pack."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from PIL import Image

from audit.checklist.models import (
    Checklist,
    Count,
    Evidence,
    Fitting,
    HoldPoint,
    Item,
    ItemState,
    JobHead,
    PhotoEntry,
    Room,
    Source,
    Subject,
    Summary,
    Tool,
    Weight,
)
from audit.measure.contract import FindingRecord, LookRecord
from audit.record.canonical import sha256

JOB = """schema = "lidoff.job/1"

[job]
name = "12 Sample Row"
region = "gb-eng"
"""


def picture(seed: int, size: tuple[int, int] = (160, 120)) -> bytes:
    """A JPEG with GPS and a serial number in its Exif, as a phone writes it."""
    noise = np.random.default_rng(seed).integers(0, 256, (size[1], size[0], 3), dtype=np.uint8)
    image = Image.fromarray(noise)
    exif = Image.Exif()
    exif[0x010F] = "Maker of phones"
    exif[0x0110] = "Phone 9"
    exif[0x0112] = 6 if seed % 2 else 1
    exif.get_ifd(0x8769)[0xA431] = f"SERIAL{seed:06d}"
    exif.get_ifd(0x8769)[0x9003] = "2026:05:31 13:05:00"
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2], gps[3], gps[4] = "N", (51.0, 30.0, 12.0), "W", (0.0, 7.0, 39.0)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=70, exif=exif)
    return out.getvalue()


def item(
    check: str,
    label: str,
    state: ItemState,
    *,
    weight: Weight = "put right",
    hold_point: HoldPoint = "closing-up",
    photo: str | None = None,
    kind: str = "fitting",
) -> Item:
    """One item."""
    box = (40.0, 30.0, 90.0, 70.0)
    return Item(
        id=f"{check}:{label}",
        check=check,
        topic="photo",
        subject=Subject(kind=kind, id=label),  # type: ignore[arg-type]
        question=f"Is all well with {check}?",
        why_it_matters="It matters.",
        hold_point=hold_point,
        state=state,
        weight=weight,
        why=f"Said of {label}.",
        source=Source(text="common practice, no source", verified="common practice, no source"),
        from_photos=photo is not None,
        evidence=(Evidence(photo=photo, of="c1", box_px=box),) if photo else (),
        request="One sharp photo." if state in ("unsure", "missing") else None,
    )


def look(file: str, data: bytes, state: str) -> LookRecord:
    """What was read of a photo."""
    finding = FindingRecord(
        check="core-outside-grip",
        of="c1",
        state=state,  # type: ignore[arg-type]
        box_px=(40.0, 30.0, 90.0, 70.0),
        value_mm=6.1,
        u95_mm=0.6,
        score=0.9,
        why="Cores show before the grip.",
    )
    return LookRecord(
        photo=file,
        sha256=sha256(data),
        size_px=(160, 120),
        outcome="read",
        usable=True,
        findings=(finding,),
    )


def checklist(
    items: list[Item], labels: list[str], photos: list[PhotoEntry], made_at: str
) -> Checklist:
    """A checklist of these items."""
    states = [i.state for i in items]
    return Checklist(
        tool=Tool(version="0.1.0", fingerprint="f" * 16),
        made_at=made_at,
        notice=("Unconfirmed.", "An aid: it certifies nothing."),
        cautions=("Before anything is opened: prove dead.",),
        cannot_show=("voltage, or that a circuit is dead",),
        job=JobHead(name="12 Sample Row", region="England", by="A. Prentice"),
        hold_point=None,
        summary=Summary(
            items=Count(**{s: states.count(s) for s in ("flag", "unsure", "missing", "clear")}),  # type: ignore[arg-type]
            stops=(),
            stops_unsettled=(),
            photos={"read": len(photos), "retake": 0, "failed": 0},
        ),
        rooms=(Room(name="Kitchen", kind="kitchen"),),
        fittings=tuple(
            Fitting(
                label=label,
                room="Kitchen",
                photos=tuple(p.file for p in photos if p.fitting == label),
            )
            for label in labels
        ),
        circuits=("C1",),
        items=tuple(items),
        photos=tuple(photos),
    )


def make_job(
    root: Path, fittings: int = 3, *, made_at: str = "2026-06-01T08:00:00Z", seed: int = 0
) -> Path:
    """A job folder with photos, facts and a checklist: for each fitting a stop flag,
    one no fault seen, one unsure, one of the boarding hold point that is missing."""
    (root / "photos").mkdir(parents=True, exist_ok=True)
    (root / "out").mkdir(exist_ok=True)
    labels = [f"F{n + 1:02d}" for n in range(fittings)]
    declared = "".join(f'\n[[fitting]]\nlabel = "{label}"\n' for label in labels)
    (root / "job.toml").write_text(JOB + declared, encoding="utf-8")
    photos, items = [], []
    for n, label in enumerate(labels):
        file = f"{label}-inside.jpg"
        data = picture(seed + n)
        (root / "photos" / file).write_bytes(data)
        entry = PhotoEntry(
            file=file,
            sha256=sha256(data),
            fitting=label,
            view="inside",
            linked_by="name",
            look=look(file, data, "flag"),
        )
        photos.append(entry)
        items += [
            item("core-outside-grip", label, "flag", weight="stop", photo=file),
            item("copper-beyond-terminal", label, "clear", photo=file),
            item("cpc-cut-short", label, "unsure", weight="advise", photo=file),
            item("joist-holes", label, "missing", hold_point="boarding"),
        ]
    items.append(item("circuit-tested", "C1", "missing", kind="circuit"))
    write_checklist(root, checklist(items, labels, photos, made_at))
    return root


def write_checklist(root: Path, made: Checklist) -> None:
    """Put a checklist in its place."""
    (root / "out" / "checklist.json").write_text(made.to_json(), encoding="utf-8")
