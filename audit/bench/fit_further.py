"""Grow the trees that weigh evidence further, on photos that no stored forest has seen (extra `fit`).

`fit_verdicts` has to tell a photo by forests that learned from a part of the photos, which are not quite
those that are stored. Here the stored forests themselves tell photos that none of them saw, and trees are
grown upon what the stored trees say of them: they learn only what is to be changed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import cv2

from audit.bench.fit_verdicts import (
    Evidence,
    VerdictOptions,
    evidence_seen,
    grown_on_evidence,
    matched_rows,
)
from audit.bench.match import match_photo
from audit.bench.rows import MIN_VISIBLE
from audit.bench.truth import Truth, load_truth
from audit.errors import UsageError
from audit.measure.contract import LookRecord
from audit.measure.look import CABLE_CHECKS
from audit.measure.looks import looked_once
from audit.measure.verdicts import ALONE, FORESTS, FURTHER, REAL_FORESTS, further_of
from audit.resources import models_dir
from audit.sight.fit import store_forest
from audit.sight.fit_provenance import provenance
from audit.sight.types import Readings

FURTHER_OPTIONS = VerdictOptions(rounds=200, depth=3, rate=0.03)
ALONE_OPTIONS = VerdictOptions(rounds=120, depth=4, rate=0.05)
"""Many small steps upon what is there, and trees of a question that has none: chosen by cross-validation."""
CPC_CHECKS = ("cpc-cut-short", "cpc-unsleeved")


def fit_further(photos: Sequence[Path], out: Path, workers: int = 2, seed: int = 7) -> None:
    """Grow and store trees upon the stored ones, with their provenance.

    Parameters
    ----------
    photos : paths of photos with `NAME.truth.json`
        None of them may have been used for any stored forest.
    out : path
        Folder for the trees: where the tool looks for its forests.
    workers, seed : int

    Raises
    ------
    UsageError
        When `out` is another folder, or no photo shows a fault both with and without.
    """
    if out.resolve() != models_dir().joinpath("materials").resolve():
        raise UsageError(
            "these trees are grown upon the stored ones",
            next_step=f"give --out {models_dir() / 'materials'}",
        )
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        rows = [r for part in pool.map(_rows, photos) for r in part]
    grown = {
        further_of(name): grown_on_evidence(rows, check, FURTHER_OPTIONS, seed, upon=name)
        for check, name in (FORESTS | REAL_FORESTS).items()
    }
    alone = {
        name: grown_on_evidence(rows, check, ALONE_OPTIONS, seed) for check, name in ALONE.items()
    }
    # All are grown before one is written: a question that can't be taught leaves the folder as it was.
    for name, trees in (grown | alone).items():
        store_forest(trees, 2, out / name, over=name in grown)
    text = provenance(
        "fit-verdicts", photos, f"{FURTHER_OPTIONS}, alone {ALONE_OPTIONS}, seed={seed}"
    )
    (out / FURTHER).write_text(text, encoding="utf-8")


def _rows(path: Path) -> list[Evidence]:
    """What a photo teaches: each of the two looks at it by itself."""
    cv2.setNumThreads(1)
    truth = load_truth(path.with_name(path.stem + ".truth.json"))
    rows: list[Evidence] = []
    for which in (0, 1):
        seen = evidence_seen(path, truth, partial(looked_once, which=which))
        rows += [] if seen is None else rows_of(*seen, truth)
    return rows


def rows_of(look: LookRecord, readings: Readings, truth: Truth) -> list[Evidence]:
    """Evidence of a photo's findings; of the CPC by whose cable it is, wherever it is shown.

    Parameters
    ----------
    look : LookRecord
        Told without any evidence being weighed.
    readings : Readings
    truth : Truth

    Returns
    -------
    list of (check, row, fault)
    """
    rows = [r for r in matched_rows(look, readings, truth) if r[0] not in CPC_CHECKS]
    owners: dict[str, Counter[str]] = {}
    for pair in match_photo(truth.items, look.findings, truth.scale.px_per_mm):
        finding, item = pair.finding, pair.item
        if finding and item and finding.check in (*CABLE_CHECKS, *CPC_CHECKS):
            owners.setdefault(finding.of, Counter())[item.of] += 1
    for cable in readings.cables:
        if cable.evidence is None:
            continue
        if cable.id not in owners:
            rows += [(check, cable.evidence, False) for check in CPC_CHECKS]
            continue
        (owner, _), *_rest = owners[cable.id].most_common(1)
        for item in truth.items:
            if item.of != owner or item.check not in CPC_CHECKS:
                continue
            if not item.fault or (item.visible or 0.0) >= MIN_VISIBLE:
                rows.append((item.check, cable.evidence, item.fault))
    return rows
