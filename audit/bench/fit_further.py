"""Grow all that learns from photos that no stored forest has seen (extra `fit`): what makes one map of both looks',
weighs evidence further, and tells spots.

`fit_verdicts` has to tell a photo by forests that learned from a part of the photos, which are not quite
those that are stored. Here the stored forests themselves tell photos that none of them saw, and trees are
grown upon what the stored trees say of them: they learn only what is to be changed.
"""

from __future__ import annotations

import pickle
import zlib
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.bench.fit_joint import (
    JointOptions,
    JointRows,
    by_trees,
    grown_joint,
    joint_rows,
    stored_classes,
)
from audit.bench.fit_spots import SpotOptions, SpotRows, grown_spots, rows_of_maps, store_spots
from audit.bench.fit_verdicts import (
    Evidence,
    VerdictOptions,
    evidence_seen,
    grown_on_evidence,
    matched_rows,
    trees_of,
)
from audit.bench.match import match_photo
from audit.bench.rows import MIN_VISIBLE
from audit.bench.truth import Truth, load_truth
from audit.card.types import CardSight
from audit.errors import UsageError
from audit.measure.contract import CABLE_CHECKS, LookRecord
from audit.measure.looks import Unmarked, joined, looked_once, pictured
from audit.measure.verdicts import ALONE, FORESTS, FURTHER, REAL_FORESTS, further_of
from audit.photo.decode import read_photo
from audit.photo.types import Photo
from audit.resources import models_dir
from audit.settings import Settings
from audit.sight.fit import store_forest
from audit.sight.fit_provenance import provenance
from audit.sight.joint_map import FOREST as JOINT
from audit.sight.joint_map import PROVENANCE
from audit.sight.spots import JOINT as JOINT_MAP
from audit.sight.spots import LATE, LOOKS, SLEEVES_PROVENANCE, forests_of
from audit.sight.spots import PROVENANCE as SPOTS
from audit.sight.types import AnalysisImage, MaterialMap, Readings, Strands

FURTHER_OPTIONS = VerdictOptions(rounds=200, depth=3, rate=0.03)
ALONE_OPTIONS = VerdictOptions(rounds=120, depth=4, rate=0.05)
"""Many small steps upon what is there, and trees of a question that has none: chosen by cross-validation."""
CPC_CHECKS = ("cpc-cut-short", "cpc-unsleeved")


def fit_further(photos: Sequence[Path], out: Path, workers: int = 2, seed: int = 7) -> None:
    """Grow and store the trees that make one map of both looks', trees upon those that weigh evidence, and
    those that tell spots.

    What weighs the evidence of a photo, or tells its spots, learns from a map that was joined by trees grown on
    the other half of the photos.

    Parameters
    ----------
    photos : paths of photos with `NAME.truth.json` and `NAME.ids.png`
        None of them may have been used for any stored forest of materials, strands or lines.
    out : path
        Folder for the trees: where the tool looks for its forests.
    workers, seed : int

    Raises
    ------
    UsageError
        When `out` is another folder, no photo shows a fault both with and without, none shows a fault of some kind of
        spot, or none can be judged.
    """
    if out.resolve() != models_dir().joinpath("materials").resolve():
        raise UsageError(
            "these trees are grown upon the stored ones",
            next_step=f"give --out {models_dir() / 'materials'}",
        )
    joint, spots = JointOptions(), SpotOptions()
    with (
        TemporaryDirectory() as cache,
        ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool,
    ):
        kept = Path(cache)
        pixels = list(pool.map(partial(_pixels, options=joint, cache=kept), photos))
        halves = [half_of(p) for p in photos]
        for half in (0, 1):
            others = [r for r, h in zip(pixels, halves, strict=True) if h != half]
            grown_joint(others, joint, seed, workers).save_model(kept / _HALF.format(half))
        taught = list(pool.map(partial(_taught, options=spots, seed=seed, cache=kept), photos))
    rows = [r for evidence, _ in taught for r in evidence]
    whole = grown_joint(pixels, joint, seed, workers)
    grown = {
        further_of(name): grown_on_evidence(rows, check, FURTHER_OPTIONS, seed, upon=name)
        for check, name in (FORESTS | REAL_FORESTS).items()
    }
    alone = {
        name: grown_on_evidence(rows, check, ALONE_OPTIONS, seed) for check, name in ALONE.items()
    }
    told: dict[str, Any] = {}
    for by in (LOOKS, JOINT_MAP):
        told |= grown_spots([s[by] for _, s in taught if s], by, spots, seed, workers)
    # All are grown before one is written: a question that can't be taught leaves the folder as it was.
    for name, trees in (grown | alone).items():
        store_forest(trees, 2, out / name, over=name in grown)
    store_forest(whole, len(stored_classes()), out / JOINT, over=True)
    how = {FURTHER: f"{FURTHER_OPTIONS}, alone {ALONE_OPTIONS}", PROVENANCE: f"{joint}"}
    for name, options in how.items():
        text = provenance("fit-verdicts", photos, f"{options}, seed={seed}")
        (out / name).write_text(text, encoding="utf-8")
    # Those of late sleeves see the joined map, which is another now.
    for name in (
        SLEEVES_PROVENANCE,
        *(n for by in (LOOKS, JOINT_MAP) for n in forests_of(LATE, by)),
    ):
        (out / name).unlink(missing_ok=True)
    store_spots(told, out, SPOTS, provenance("fit-verdicts", photos, f"{spots}, seed={seed}"))


_HALF = "half{}.ubj"


def half_of(photo: Path) -> int:
    """Which half of the photos one is of, 0 or 1, by its name alone."""
    return zlib.crc32(photo.stem.encode()) % 2


def _pixels(photo: Path, options: JointOptions, cache: Path) -> JointRows:
    """What a photo teaches of joining both looks' maps; both looks are kept."""
    cv2.setNumThreads(1)
    picture = read_photo(photo, Settings())
    one, other = (looked_once(picture, which) for which in (0, 1))
    kept = pickle.dumps([_packed(look) for look in (one, other)])
    (cache / f"{photo.stem}.looks").write_bytes(zlib.compress(kept, 1))
    return joint_rows(photo, one.image, one.materials, other.materials, options)


Packed = tuple[NDArray[np.uint8], float, Strands, Readings]


def _packed(look: Unmarked) -> Packed:
    """A look without its picture, its map in bytes: thousands have to be kept."""
    prob = np.rint(look.materials.prob * 255).astype(np.uint8)
    return prob, look.materials.step, look.strands, look.readings


def _unpacked(packed: Packed, card: CardSight, image: AnalysisImage) -> Unmarked:
    prob, step, strands, readings = packed
    materials = MaterialMap(prob.astype(np.float32) / np.float32(255), step)
    return Unmarked(card, image, materials, strands, readings, readings)


def _taught(
    path: Path, options: SpotOptions, seed: int, cache: Path
) -> tuple[list[Evidence], dict[str, SpotRows] | None]:
    """What a photo teaches: evidence of each of the two looks at it and of both joined, and spots; one that
    can't be judged nothing."""
    cv2.setNumThreads(1)
    truth = load_truth(path.with_name(path.stem + ".truth.json"))
    if not truth.usable:
        return [], None
    card, image = pictured(read_photo(path, Settings()))
    kept = pickle.loads(zlib.decompress((cache / f"{path.stem}.looks").read_bytes()))
    one, other = (_unpacked(look, card, image) for look in kept)
    tell = by_trees(trees_of(cache / _HALF.format(half_of(path))))
    both = joined(one, other, by=tell)
    rows: list[Evidence] = []
    for look in (one, other, both):
        seen = evidence_seen(path, truth, partial(_as_seen, look))
        rows += [] if seen is None else rows_of(*seen, truth)
    spots = {
        by: rows_of_maps(
            image, mine, other.materials, truth, options,
            np.random.default_rng([seed, *path.stem.encode()]),
        )
        for by, mine in ((LOOKS, one.materials), (JOINT_MAP, both.materials))
    }  # fmt: skip
    return rows, spots


def _as_seen(look: Unmarked, _photo: Photo) -> Unmarked:
    return look


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
