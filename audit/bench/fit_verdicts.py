"""Fit the trees that weigh evidence, and the whole chain of forests in one go (extra `fit`)."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache as kept
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from audit.bench.fit_lines import LabelledPlaces, fit_lines, line_rows, told_by
from audit.bench.match import match_photo
from audit.bench.rows import MIN_VISIBLE
from audit.bench.truth import Truth, load_truth
from audit.card.find import find_card
from audit.errors import UsageError, Where
from audit.measure.contract import LookRecord
from audit.measure.declared import Declared
from audit.measure.look import record_of, see
from audit.measure.looks import Unmarked, first_seen
from audit.measure.verdicts import (
    ALONE,
    CABLE,
    END,
    FORESTS,
    FURTHER,
    REAL_FORESTS,
    further_of,
    told_first,
)
from audit.photo.decode import read_photo
from audit.photo.types import Photo
from audit.resources import models_dir
from audit.settings import Settings
from audit.sight.crossings import Places, Tell
from audit.sight.fit import FitOptions, boosted, fit_forests, store_forest, store_forests
from audit.sight.fit_folds import LINES, SECOND_LOOK, fold_of
from audit.sight.fit_strands import FirstMap, first_map, fit_places
from audit.sight.grips import lay_card
from audit.sight.joint_map import FOREST as JOINT
from audit.sight.joint_map import PROVENANCE as JOINED
from audit.sight.lengthwise import GROUPS
from audit.sight.materials import LEAST
from audit.sight.near_told import FOREST as NEARNESS
from audit.sight.near_told import PROVENANCE
from audit.sight.readings import read_cables
from audit.sight.relook import look_again
from audit.sight.spots import PROVENANCE as SPOTS
from audit.sight.spots import SLEEVES_PROVENANCE, SPOT_KINDS, TOLD_FROM, forests_of
from audit.sight.strands import find_strands
from audit.sight.types import F32, F64, AnalysisImage, MaterialMap, Readings

Evidence = tuple[str, F32, bool]
"""Check, row, and whether the fault is truly there; of a cable or an end itself, whether that is."""


LEAST_MM = 0.5
"""A smaller fault is taught as none."""


@dataclass(frozen=True)
class VerdictOptions:
    """How the trees are grown: few and shallow, the rows are few."""

    rounds: int = 150
    depth: int = 4
    rate: float = 0.06
    least: float = 3.0
    ridge: float = 3.0


@kept
def trees_of(path: Path) -> Any:
    """Trees as they were saved, for one thread; kept once read."""
    from xgboost import XGBClassifier

    trees = XGBClassifier()
    trees.load_model(path)
    trees.set_params(n_jobs=1)
    return trees


def _line_told(n: int, cache: Path) -> Tell:
    """What stands in for the stored forests of lines: those that never saw photo `n`."""

    def tell(places: Places, forest: str) -> F64:
        return told_by(trees_of(cache / f"fold{fold_of(n, LINES)}-{forest}.ubj"), places.rows)

    return tell


def _by_stored(path: Path, n: int) -> tuple[AnalysisImage, MaterialMap]:
    """The first map of a photo that the finished forests of materials never saw."""
    _, image, materials = first_seen(read_photo(path, Settings()))
    return image, materials


def _unseen(
    photo: Photo, n: int, path: Path, tell_line: Tell, mapped: FirstMap, cache: Path
) -> Unmarked:
    """The stages before marks, by forests that never saw the photo."""

    def tell(forest: str, rows: F32) -> F32:
        fold = fold_of(n, SECOND_LOOK)
        told = trees_of(cache / f"fold{fold}-{forest}.ubj").predict_proba(rows)
        return np.asarray(told.reshape(-1, len(GROUPS)), np.float32)

    image, first = mapped(path, n)
    card = find_card(photo)
    first = lay_card(first, card, image.scale * first.step)
    rough, materials = find_strands(first, image)
    strands, materials = find_strands(look_again(materials, image, rough, tell), image)
    # As `unmarked` hands them on: scale and refusal go by the first strands.
    readings = read_cables(image, materials, strands, tell_line)
    return Unmarked(card, image, materials, rough, readings, readings)


def matched_rows(look: LookRecord, readings: Readings, truth: Truth) -> list[Evidence]:
    """Evidence of every finding that was matched with truth, or with nothing."""
    ends = {f"e{k}": t.evidence for k, t in enumerate(readings.tips, 1)}
    entries = {c.id: c.evidence for c in readings.cables}
    out: list[Evidence] = []
    there = dict.fromkeys((*ends, *entries), False)
    for pair in match_photo(truth.items, look.findings, truth.scale.px_per_mm):
        finding, item = pair.finding, pair.item
        if finding is not None and item is not None and finding.of in there:
            there[finding.of] = True
        if finding is None or finding.check not in FORESTS:
            continue
        fault = False
        if item is not None and item.fault:
            if (item.visible or 0.0) < MIN_VISIBLE:
                continue
            fault = item.size_mm is None or item.size_mm >= LEAST_MM
        evidence = (ends if finding.check.startswith("copper") else entries).get(finding.of)
        if evidence is not None:
            out.append((finding.check, evidence, fault))
    told = {f.of for f in look.findings if f.check == "copper-beyond-terminal"}
    out += [(END, e, there[k]) for k, e in ends.items() if e is not None and k in told]
    out += [(CABLE, e, there[k]) for k, e in entries.items() if e is not None]
    return out


def evidence_rows(
    path: Path, n: int, before: Callable[[Photo, int, Path], Unmarked]
) -> list[Evidence]:
    """Evidence of one photo's ends and entries, with what is truly there.

    Parameters
    ----------
    path : path of a photo with `NAME.truth.json`
    n : int
        Its number in the fit.
    before : callable
        Gives the stages before marks.

    Returns
    -------
    list of (check, row, fault)
        Empty for a photo that is tagged unusable.
    """
    cv2.setNumThreads(1)
    truth = load_truth(path.with_name(path.stem + ".truth.json"))
    seen = evidence_seen(path, truth, lambda photo: before(photo, n, path))
    return [] if seen is None else matched_rows(*seen, truth)


def evidence_seen(
    path: Path, truth: Truth, before: Callable[[Photo], Unmarked]
) -> tuple[LookRecord, Readings] | None:
    """What is told of a photo without weighing, and its readings with their evidence.

    None for a photo that is tagged unusable.
    """
    if not truth.usable:
        return None
    photo = read_photo(path, Settings())
    seen = see(photo, Settings(), truth.declared, (), before)
    bare = replace(seen, readings=_unweighed(seen.readings))
    return record_of(bare, Settings(), truth.declared or Declared(), path.name), seen.readings


Before = Callable[[Photo, int, Path, Tell], Unmarked]
"""Gives the stages before marks of a photo, its number in the fit and its path, with the forests of
lines given."""


def _line_read(path: Path, n: int, tell: Tell, before: Before) -> tuple[float, Readings]:
    found = before(read_photo(path, Settings()), n, path, tell)
    return found.image.scale, found.readings


def _rows_of_lines(task: tuple[Path, int, Before]) -> list[LabelledPlaces]:
    path, n, before = task
    return line_rows(path, n, partial(_line_read, before=before))


def _rows_of_evidence(task: tuple[Path, int, Before], cache: Path) -> list[Evidence]:
    path, n, before = task

    def unseen(photo: Photo, n: int, path: Path) -> Unmarked:
        return before(photo, n, path, _line_told(n, cache))

    return evidence_rows(path, n, unseen)


def _unweighed(readings: Readings) -> Readings:
    """Readings without their evidence: which finding is whose does not hang on the trees to be grown."""
    return Readings(
        tuple(replace(c, evidence=None) for c in readings.cables),
        tuple(replace(t, evidence=None) for t in readings.tips),
    )


def grown_on_evidence(
    rows: Sequence[Evidence],
    check: str,
    options: VerdictOptions,
    seed: int,
    upon: str | None = None,
) -> Any:
    """Boosted trees that give the probability of one check's fault, an `xgboost.XGBClassifier`.

    `upon` names the stored forest that they are grown upon: they say only what is to be changed of it.

    Raises
    ------
    UsageError
        When the fault is in no photo, or in all.
    """
    mine = [(x, fault) for c, x, fault in rows if c == check]
    if len({fault for _, fault in mine}) < 2:
        raise UsageError(
            f"no photo shows {check} both with and without", next_step="give more photos"
        )
    wide: F32 = np.stack([x for x, _ in mine])
    before = None if upon is None else np.log(np.maximum(told_first(upon, wide), LEAST))
    trees = boosted(
        2, options.rounds, options.depth, options.rate, options.least,
        reg_lambda=options.ridge, subsample=0.6, colsample_bynode=0.2, random_state=seed,
    )  # fmt: skip
    return trees.fit(wide, np.array([int(f) for _, f in mine]), base_margin=before)


def _forget_further(out: Path) -> None:
    """Take away trees that were grown upon others than those that are to lie in the folder."""
    names = [further_of(n) for n in (*FORESTS.values(), *REAL_FORESTS.values())]
    names += [name for by in TOLD_FROM for kind in SPOT_KINDS for name in forests_of(kind, by)]
    names += [
        *ALONE.values(),
        FURTHER,
        JOINT,
        JOINED,
        NEARNESS,
        PROVENANCE,
        SPOTS,
        SLEEVES_PROVENANCE,
    ]
    for name in names:
        (out / name).unlink(missing_ok=True)


def fit_all(
    photos: Sequence[Path], weighed: Sequence[Path], out: Path, options: FitOptions
) -> None:
    """Grow and store every forest of seeing.

    Parameters
    ----------
    photos : paths of photos, each with an ids map and truth
        All forests are fitted on them.
    weighed : paths of photos with truth
        The forests of materials are not fitted on them, those of the second look and
        of lines and the trees that weigh evidence are; their maps are made by the finished forests.
    out : path
        Folder for the forests and their provenance.
    options : FitOptions

    Raises
    ------
    UsageError
        When there are fewer than 4 photos, one lacks its ids map, or `weighed`
        is given while `out` is not where the tool looks for its forests.
    """
    if weighed and out.resolve() != models_dir().joinpath("materials").resolve():
        raise UsageError(
            "photos to weigh are read with the forests just grown", Where(out),
            f"give --out {models_dir() / 'materials'}",
        )  # fmt: skip
    _forget_further(out)
    with tempfile.TemporaryDirectory(prefix="lidoff-fit-") as folder:
        cache = Path(folder)
        forests, classes = fit_forests(photos, options, cache)
        store_forests(forests, classes, out, photos, weighed, options)
        told: FirstMap = partial(first_map, options=options, cache=cache)
        maps = [(p, n, told) for n, p in enumerate(photos)]
        maps += [(p, len(photos) + n, _by_stored) for n, p in enumerate(weighed)]
        for name, forest in fit_places(maps, options, cache).items():
            store_forest(forest, len(GROUPS), out / name)
        tasks: list[tuple[Path, int, Before]] = [
            (p, n, partial(_unseen, mapped=mapped, cache=cache)) for p, n, mapped in maps
        ]
        with ProcessPoolExecutor(options.workers, mp_context=get_context("spawn")) as pool:
            lines = list(pool.map(_rows_of_lines, tasks))
            for name, forest in fit_lines(lines, options, cache).items():
                store_forest(forest, 2, out / name)
            got = list(pool.map(partial(_rows_of_evidence, cache=cache), tasks))
    rows = [r for part in got for r in part]
    for check, name in (FORESTS | REAL_FORESTS).items():
        trees = grown_on_evidence(rows, check, VerdictOptions(), options.seed)
        store_forest(trees, 2, out / name)
