"""A small checklist with a drawn photo, names that try to break out, and every state."""

from __future__ import annotations

import hashlib
from pathlib import Path

from PIL import Image, ImageDraw

from audit.checklist.models import (
    Checklist,
    Count,
    Evidence,
    Fitting,
    Item,
    JobHead,
    PhotoEntry,
    Room,
    Source,
    Subject,
    Summary,
    Tool,
    Value,
)
from audit.checklist.texts import texts
from audit.measure.contract import (
    CableRecord,
    EntryRecord,
    FindingRecord,
    Length,
    LookRecord,
    ScaleRecord,
    SegmentRecord,
)

NASTY = "=F1 <script>alert('x')</script> \"&amp;"
SIZE = (400, 300)


def segment(what: str, colour: str | None, a: float, b: float) -> SegmentRecord:
    return SegmentRecord(
        what=what, colour=colour, from_mm=a, to_mm=b, path_px=((10 * a, 100), (10 * b, 100))
    )


def cable() -> CableRecord:
    """Sheath that stops 6 mm short of the grip."""
    return CableRecord(
        id="c1",
        sheath="grey",
        entry=EntryRecord(
            kind="clamp",
            wall_px=((100, 60), (100, 140)),
            grip_px=((160, 60), (200, 60), (200, 140), (160, 140)),
        ),
        sheath_edge_px=((100, 80), (100, 120)),
        sheath_past_grip_mm=Length(value=-10.0, u95=0.6),
        core_outside_grip_mm=Length(value=6.0, u95=0.6),
        core_outside_enclosure_mm=Length(value=0.0, u95=0.6),
        reading=(
            segment("sheath", "grey", 0, 10),
            segment("wall", None, 8, 9),
            segment("grip", None, 16, 20),
            segment("core", "brown", 10, 28),
            segment("copper", None, 28, 30),
            segment("terminal", None, 30, 34),
            segment("core", "blue", 10, 27),
        ),
    )


def findings() -> tuple[FindingRecord, ...]:
    return (
        FindingRecord(
            check="core-outside-grip",
            of="c1",
            state="flag",
            box_px=(100, 80, 160, 120),
            value_mm=6.0,
            u95_mm=0.6,
            score=0.99,
            why="brown and blue are met before the grip",
        ),
        FindingRecord(
            check="copper-beyond-terminal",
            of="e1",
            state="unsure",
            box_px=(280, 90, 300, 110),
            score=0.4,
            why="the terminal's mouth is in shadow",
        ),
        FindingRecord(
            check="core-outside-enclosure",
            of="c1",
            state="clear",
            box_px=(60, 60, 130, 150),
            value_mm=0.0,
            u95_mm=0.6,
            score=0.01,
            why="sheath crosses the wall",
        ),
    )


def write_photo(path: Path) -> LookRecord:
    """Draw a photo with a location in its Exif data, and give its record."""
    picture = Image.new("RGB", SIZE, "#c8c4ba")
    ImageDraw.Draw(picture).rectangle((0, 90, 100, 110), fill="#888888")
    exif = Image.Exif()
    exif.get_ifd(0x8825)[1] = "N"
    exif[0x010E] = "made at a private address"
    picture.save(path, exif=exif, quality=95)
    return LookRecord(
        photo=path.name,
        sha256=hashlib.sha256(path.read_bytes()).hexdigest(),
        size_px=SIZE,
        outcome="read",
        usable=True,
        scale=ScaleRecord(px_per_mm=10.0, u95_rel=0.03, source="core"),
        cables=(cable(),),
        findings=findings(),
    )


def item(check: str, state: str, look: LookRecord | None = None, **more: object) -> Item:
    found = [f for f in (look.findings if look else ()) if f.check == check]
    request = texts().request["entry"] if state != "clear" else None
    fields = {
        "id": f"{check}:{NASTY}",
        "check": check,
        "topic": "joints",
        "subject": Subject(kind="fitting", id=NASTY),
        "question": f"Is {check} as it should be?",
        "why_it_matters": "It can hurt someone.",
        "hold_point": "closing-up",
        "state": state,
        "weight": "stop",
        "why": f"because {NASTY}",
        "request": request,
        "settle": texts().settle(request) if request else None,
        "source": Source(text="common practice, no source", verified="common practice, no source"),
        "from_photos": True,
        "value": Value(value=6.0, u95=0.6, unit="mm", limit=0.0) if state == "flag" else None,
        "evidence": tuple(
            Evidence(
                photo=look.photo if look else "",
                of=f.of,
                state=f.state,
                box_px=f.box_px,
                value_mm=f.value_mm,
                u95_mm=f.u95_mm,
                score=f.score,
                why=f.why,
            )
            for f in found
        ),
    }
    return Item(**(fields | more))


def photo_entries(look: LookRecord) -> tuple[PhotoEntry, PhotoEntry]:
    """The photo that was read, and one that is none and belongs to no fitting."""
    failed = LookRecord(
        photo=f"{NASTY}.jpg",
        sha256=None,
        size_px=None,
        outcome="failed",
        usable=None,
        reasons=("it is text, not a picture",),
    )
    read = PhotoEntry(
        file=look.photo,
        sha256=look.sha256,
        fitting=NASTY,
        view="inside",
        linked_by="name",
        look=look,
    )
    loose = PhotoEntry(
        file=failed.photo,
        sha256=None,
        fitting=None,
        view=None,
        linked_by="none",
        notes=("unlabelled: its name says nothing",),
        look=failed,
    )
    return read, loose


def checklist(look: LookRecord) -> Checklist:
    items = (
        item("core-outside-grip", "flag", look),
        item("copper-beyond-terminal", "unsure", look),
        item("cpc-unsleeved", "missing"),
        item("core-outside-enclosure", "clear", look),
        item("ip-for-place", "clear", from_photos=False, weight="advise", hold_point="boarding"),
    )
    words = texts()
    return Checklist(
        tool=Tool(version="0", fingerprint="0"),
        made_at="2026-01-02T03:04:05Z",
        notice=(words.unconfirmed, words.aid),
        cautions=words.cautions,
        cannot_show=words.cannot_show,
        job=JobHead(name=NASTY, region="international"),
        hold_point=None,
        summary=Summary(
            items=Count(flag=1, unsure=1, missing=1, clear=2),
            stops=(items[0].id,),
            stops_unsettled=(items[1].id, items[2].id),
            photos={"read": 1, "retake": 0, "failed": 1},
        ),
        rooms=(Room(name=NASTY, kind="bathroom"),),
        fittings=(Fitting(label=NASTY, room=NASTY, photos=(look.photo,)),),
        items=items,
        photos=photo_entries(look),
    )
