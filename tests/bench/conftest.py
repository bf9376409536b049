"""A small benchmark made of numbers: truth files, and look records derived from them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

SCALE = 10.0


def truth_dict(name: str, items: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """A truth file as the renderer writes it: 10 px per mm, one clamp."""
    entry = {
        "kind": "clamp",
        "wall_px": [[100.0, 50.0], [100.0, 150.0]],
        "grip_px": [[150.0, 60.0], [150.0, 140.0], [200.0, 140.0], [200.0, 60.0]],
    }
    return {
        "schema": "lidoff.truth/1",
        "photo": name,
        "size_px": [640, 480],
        "usable": True,
        "scale": {"px_per_mm": SCALE},
        "card": {"found": True, "markers_seen": [0, 1, 2, 3]},
        "tags": ["light:torch"],
        "cables": [{"id": "c1", "entry": entry}],
        "items": items,
        **more,
    }


def item(check: str, size: float | None, x: float, **more: Any) -> dict[str, Any]:
    """A truth item 40 px square at x; a fault when it has a size or says so."""
    return {
        "check": check,
        "of": "c1",
        "fault": bool(size),
        "size_mm": size,
        "visible": 1.0,
        "box_px": [x, 50.0, x + 40, 90.0],
        **more,
    }


def finding(check: str, state: str, x: float, value: float | None = None, **more: Any) -> dict:
    """A finding 40 px square at x."""
    return {
        "check": check,
        "of": "c1",
        "state": state,
        "box_px": [x, 50.0, x + 40, 90.0],
        "value_mm": value,
        "u95_mm": 0.5,
        "score": {"flag": 0.95, "unsure": 0.5, "clear": 0.05}[state],
        "why": "made up for a test",
        **more,
    }


def look_dict(name: str, findings: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """A look record with card, scale and both lines right."""
    entry = truth_dict(name, [])["cables"][0]["entry"]
    return {
        "schema": "lidoff.look/1",
        "photo": name,
        "sha256": "0" * 64,
        "size_px": [640, 480],
        "outcome": "read",
        "usable": True,
        "card": {"found": True},
        "scale": {"px_per_mm": SCALE, "u95_rel": 0.03, "from": "card"},
        "cables": [{"id": "c1", "sheath": "grey", "entry": {**entry, "from": "found"}}],
        "findings": findings,
        **more,
    }


class Folder:
    """A benchmark folder under construction."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.looks: list[dict[str, Any]] = []
        path.mkdir()

    def add(self, truth: dict[str, Any], look: dict[str, Any] | None) -> None:
        """Write a photo with its truth, and keep its record."""
        photo = self.path / truth["photo"]
        Image.fromarray(np.full((48, 64, 3), 128, np.uint8)).save(photo)
        photo.with_suffix(".truth.json").write_text(json.dumps(truth), encoding="utf-8")
        if look is not None:
            self.looks.append(look)

    def looks_file(self) -> Path:
        """Write the records, one a line."""
        path = self.path.with_name("looks.jsonl")
        path.write_text("".join(json.dumps(x) + "\n" for x in self.looks), encoding="utf-8")
        return path


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "set")
