"""Trees grown further: whose evidence teaches what, and that what is stored says what was grown."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from audit.bench import fit_further as module
from audit.bench.fit_further import FURTHER_OPTIONS, fit_further, rows_of
from audit.bench.fit_spots import SpotOptions
from audit.bench.fit_verdicts import _forget_further, grown_on_evidence
from audit.bench.truth import TruthItem
from audit.errors import UsageError
from audit.measure.contract import FindingRecord, LookRecord
from audit.measure.verdicts import ALONE, FORESTS, FURTHER, further_of, told_first
from audit.resources import models_dir
from audit.sight.joint_map import FOREST as JOINT
from audit.sight.joint_map import PROVENANCE as JOINED
from audit.sight.materials import LEAST, mended
from audit.sight.near_told import FOREST as NEARNESS
from audit.sight.near_told import PROVENANCE
from audit.sight.spots import PROVENANCE as SPOTS
from audit.sight.spots import SLEEVES_PROVENANCE, SPOT_KINDS, TOLD_FROM, forests_of
from audit.sight.trees import grown

COPPER = "verdict-copper.npz"


def _item(check: str, of: str, fault: bool, visible: float | None, at: float) -> TruthItem:
    return TruthItem(
        check=check, of=of, fault=fault, size_mm=None, visible=visible, box_px=(at, 0, at + 50, 50)
    )


def _finding(check: Any, of: str, at: float) -> FindingRecord:
    return FindingRecord(
        check=check, of=of, state="unsure", box_px=(at, 0, at + 50, 50), score=0.5, why=""
    )


def _truth(*items: TruthItem) -> Any:
    return SimpleNamespace(items=items, scale=SimpleNamespace(px_per_mm=10.0))


def _readings(*names: str) -> Any:
    cables = [
        SimpleNamespace(id=n, evidence=np.full(2, k, np.float32)) for k, n in enumerate(names)
    ]
    return SimpleNamespace(cables=cables, tips=[])


def _look(*findings: FindingRecord) -> LookRecord:
    return LookRecord(
        photo="x.jpg", sha256=None, size_px=None, outcome="read", usable=True, findings=findings
    )


def test_a_cpc_is_taught_by_whose_cable_it_is_not_by_where_it_is_shown() -> None:
    """The finding of the CPC lies elsewhere than the truth's; the cable is known by its entry."""
    truth = _truth(
        _item("core-outside-grip", "c7", False, 1.0, 0),
        _item("cpc-cut-short", "c7", True, 1.0, 900),
    )
    look = _look(_finding("core-outside-grip", "c1", 0), _finding("cpc-cut-short", "c1", 300))
    rows = rows_of(look, _readings("c1"), truth)
    assert [(c, f) for c, _, f in rows if c == "cpc-cut-short"] == [("cpc-cut-short", True)]


def test_what_no_camera_sees_is_not_taught() -> None:
    truth = _truth(
        _item("core-outside-grip", "c7", False, 1.0, 0),
        _item("cpc-cut-short", "c7", True, 0.2, 900),
    )
    rows = rows_of(_look(_finding("core-outside-grip", "c1", 0)), _readings("c1"), truth)
    assert not [r for r in rows if r[0] == "cpc-cut-short"]


def test_a_cable_that_is_none_has_no_cpc_that_was_cut() -> None:
    rows = rows_of(_look(), _readings("c1"), _truth())
    assert {(c, f) for c, _, f in rows if c.startswith("cpc")} == {
        ("cpc-cut-short", False),
        ("cpc-unsleeved", False),
    }


def test_what_is_stored_says_what_was_grown() -> None:
    """Stored trees times what they were grown upon give the grown trees' own probabilities."""
    rng = np.random.default_rng(3)
    wide = rng.normal(0, 1, (300, 198)).astype(np.float32)
    fault = wide[:, 5] + 0.3 * rng.normal(0, 1, 300) > 0.5
    rows = [("copper-beyond-terminal", x, bool(f)) for x, f in zip(wide, fault, strict=True)]
    trees = grown_on_evidence(rows, "copper-beyond-terminal", FURTHER_OPTIONS, 1, upon=COPPER)
    first = told_first(COPPER, wide)
    margin = np.log(np.maximum(first, LEAST))
    by = grown(trees, 2, over=True).told(wide)
    own = trees.predict_proba(wide, base_margin=margin).reshape(-1, 2)
    assert np.allclose(mended(first, by), own, atol=1e-5)
    # And it has learned: those with the fault are told apart better than before.
    gap = [p[fault, 1].mean() - p[~fault, 1].mean() for p in (first, own)]
    assert gap[1] > gap[0] + 0.2


def test_photos_that_all_show_a_fault_teach_nothing() -> None:
    rows = [("copper-beyond-terminal", np.zeros(198, np.float32), True)]
    with pytest.raises(UsageError, match="both with and without"):
        grown_on_evidence(rows, "copper-beyond-terminal", FURTHER_OPTIONS, 1, upon=COPPER)


def test_trees_are_grown_only_upon_those_that_are_used(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="upon the stored ones"):
        fit_further([], tmp_path)


def test_a_photo_that_cannot_be_judged_teaches_nothing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(module, "load_truth", lambda path: SimpleNamespace(usable=False))
    assert module._taught(Path("no-such.jpg"), SpotOptions(), 1, tmp_path) == ([], None)


class _Here:
    """A pool of no processes."""

    def __init__(self, *args: Any, **more: Any) -> None:
        self.map = map

    def __enter__(self) -> _Here:
        return self

    def __exit__(self, *args: object) -> None:
        pass


def test_nothing_is_written_when_a_kind_of_spot_cannot_be_taught(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """All else could be grown; the folder stays as it was."""
    out = tmp_path / "materials"
    out.mkdir()
    monkeypatch.setattr(module, "models_dir", lambda: tmp_path)
    monkeypatch.setattr(module, "ProcessPoolExecutor", _Here)
    monkeypatch.setattr(module, "_pixels", lambda photo, **more: None)
    monkeypatch.setattr(module, "_taught", lambda photo, **more: ([], None))
    grown = SimpleNamespace(save_model=lambda path: None)
    monkeypatch.setattr(module, "grown_joint", lambda *args: grown)
    monkeypatch.setattr(module, "grown_on_evidence", lambda *args, **more: grown)
    with pytest.raises(UsageError, match="no photo with truth"):
        fit_further([Path("a.jpg"), Path("b.jpg")], out)
    assert list(out.iterdir()) == []


def test_a_refit_takes_away_what_was_grown_upon_the_old_forests(tmp_path: Path) -> None:
    names = [FURTHER, *ALONE.values(), *(further_of(n) for n in FORESTS.values())]
    names += [
        JOINT,
        JOINED,
        NEARNESS,
        PROVENANCE,
        SPOTS,
        SLEEVES_PROVENANCE,
        *(n for by in TOLD_FROM for kind in SPOT_KINDS for n in forests_of(kind, by)),
    ]
    for name in (*names, COPPER):
        (tmp_path / name).touch()
    _forget_further(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == [COPPER]


def test_all_that_is_grown_further_ships() -> None:
    folder = models_dir() / "materials"
    grown = (FURTHER, *ALONE.values(), *(further_of(n) for n in FORESTS.values()))
    spots = [n for by in TOLD_FROM for kind in SPOT_KINDS for n in forests_of(kind, by)]
    for name in (*grown, JOINT, JOINED, NEARNESS, PROVENANCE, *spots, SPOTS, SLEEVES_PROVENANCE):
        assert (folder / name).is_file()
