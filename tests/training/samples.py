"""Drawn photos with truths: small, quick, and with a fault where the truth says."""

from __future__ import annotations

import json
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw

from audit.review.serve import loopback_server
from audit.training.sets import PracticeSet, from_folder
from audit.training.store import Results
from audit.training.web.app import create_app
from audit.training.web.context import Practice

SIZE = (800, 600)
PX_PER_MM = 8.0
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
COPPER = (520.0, 290.0, 556.0, 314.0)
OUTSIDE = (200.0, 280.0, 260.0, 340.0)
GRIP = (200.0, 280.0, 340.0, 340.0)
FOLDER = {"copper-and-entry": "both faults", "clean": "nothing", "dark": "too dark"}


def item(check: str, of: str, box: Any, mm: float | None = None, **more: Any) -> dict[str, Any]:
    """One truth item with a fault."""
    return {"check": check, "of": of, "fault": True, "size_mm": mm, "box_px": box, **more}


FAULTS = [
    item("copper-beyond-terminal", "e1", COPPER, 4.5),
    item("core-outside-enclosure", "c1", OUTSIDE, 7.5),
    item("core-outside-grip", "c1", GRIP, 17.5),
    item("copper-beyond-terminal", "e2", (600, 400, 610, 410), 1.0, visible=0.2),
]


def truth(name: str, items: list[dict[str, Any]] | None = None, **more: Any) -> dict[str, Any]:
    """A truth file's content."""
    return {
        "schema": "lidoff.truth/1", "photo": f"{name}.jpg", "usable": True,
        "scale": {"px_per_mm": PX_PER_MM, "from": "truth"}, "items": items or [],
        "declared": {"view": "inside", "cables": 1, "terminals": 2}, **more,
    }  # fmt: skip


def draw(path: Path, ink: tuple[int, int, int], size: tuple[int, int] = SIZE) -> None:
    """A box with a cable; the ink makes every photo another one. Its file tells a place."""
    picture = Image.new("RGB", size, (196, 188, 172))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((260, 150, 700, 470), fill=(226, 226, 220), outline=(90, 90, 88), width=6)
    pen.line((0, 310, 260, 310), fill=ink, width=50)
    pen.line((200, 310, 520, 302), fill=(104, 62, 34), width=14)
    pen.line((520, 302, 556, 302), fill=(190, 110, 60), width=10)
    exif = Image.Exif()
    exif[0x010F] = "Maker of a phone"
    exif.get_ifd(0x8825)[1] = "N"
    picture.save(path, "JPEG", quality=88, exif=exif, comment=b"Plot 3, the hall")


def make_set(folder: Path) -> Path:
    """A set of three: two faults, none, and one that can't be judged."""
    folder.mkdir(parents=True, exist_ok=True)
    truths = {
        "copper-and-entry": truth("copper-and-entry", FAULTS),
        "clean": truth("clean"),
        "dark": truth("dark", usable=False, unusable_because="dark"),
    }
    rows = ['schema = "lidoff.practice/1"\n']
    for n, (name, data) in enumerate(truths.items()):
        draw(folder / f"{name}.jpg", (120 + 20 * n, 120, 130))
        (folder / f"{name}.truth.json").write_text(json.dumps(data), encoding="utf-8")
        title = f'title = "Telling title: {FOLDER[name]}"'
        rows.append(f'[[photo]]\nname = "{name}"\n{title}\ndifficulty = {n + 1}\n')
    (folder / "set.toml").write_text("\n".join(rows), encoding="utf-8")
    return folder


def copy_set(base: Path, to: Path) -> Path:
    """The set again, made once for all tests."""
    if not (base / "set").exists():
        make_set(base / "set")
    shutil.copytree(base / "set", to)
    return to


class Clock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        return self.now

    def on(self, **by: float) -> None:
        self.now += timedelta(**by)


@dataclass(frozen=True)
class Served:
    """Practice pages that are being served."""

    address: str
    practice: Practice
    clock: Clock

    @property
    def photos(self) -> PracticeSet:
        return self.practice.set

    def key(self, title: str) -> str:
        """Name in addresses of the photo whose title ends so."""
        return next(p.key for p in self.photos.photos.values() if p.title.endswith(title))


@contextmanager
def serving(folder: Path, results: Path, trainee: str = "A. Trainee") -> Iterator[Served]:
    """Serve a set's pages as the command does."""
    clock = Clock()
    practice = Practice(from_folder(folder), Results(results), trainee, clock=clock)
    server, port = loopback_server(create_app(practice), 0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield Served(f"http://127.0.0.1:{port}/", practice, clock)
    finally:
        server.close()
        thread.join(timeout=5)
