"""Reading a real photo for the bench: times, ids map, and faults that must not stop the others."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from audit.bench.run import CaseTask, read_case
from audit.bench.truth import find_cases
from audit.measure import look
from audit.settings import Settings
from tests.bench.conftest import Folder, truth_dict

CHECKOUT = Path(__file__).resolve().parent.parent.parent
TUNE = CHECKOUT / "sample_images" / "bench" / "tune"


def test_a_photo_is_read_timed_and_compared(tmp_path: Path) -> None:
    case = next(case for case in find_cases(TUNE) if case.ids is not None)
    got = read_case(CaseTask(case, Settings(), tmp_path))
    assert got.fault is None
    assert got.look is not None
    assert got.look.photo == case.name
    assert got.pixels is not None
    assert case.ids is not None
    true = np.asarray(Image.open(case.ids))
    assert got.pixels.sum() == (true < 15).sum()
    assert got.photo_s is not None
    assert got.look_s is not None
    assert 0 < got.photo_s < got.look_s


def test_a_broken_stage_is_told_by_place(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by nought")

    folder.add(truth_dict("a.png", []), None)
    monkeypatch.setattr(look, "look_photo", broken)
    (case,) = find_cases(folder.path)
    got = read_case(CaseTask(case, Settings(), None))
    assert got.look is None
    assert got.fault is not None
    assert got.fault.startswith("ZeroDivisionError: by nought (test_run.py:")


def test_what_is_declared_reaches_the_seeing(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: list[object] = []

    def watch(path: Path, **told: object) -> look.LookRecord:
        given.append(told["declared"])
        return look.failed(path.name, "not looked at")

    folder.add(truth_dict("a.png", [], declared={"cable_size": "1.5", "cables": 1}), None)
    monkeypatch.setattr(look, "look_photo", watch)
    (case,) = find_cases(folder.path)
    read_case(CaseTask(case, Settings(), None))
    read_case(CaseTask(case, Settings(), None, declared=False))
    assert getattr(given[0], "cable_size", None) == "1.5"
    assert given[-1] is None


def test_only_photos_with_truth_are_cases(folder: Folder) -> None:
    folder.add(truth_dict("a [1].png", []), None)
    (folder.path / "notes.json").write_text(json.dumps({}), encoding="utf-8")
    assert [case.name for case in find_cases(folder.path)] == ["a [1].png"]
