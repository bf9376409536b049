"""Renew the stored figures: read a set's photos, or take what one run of the bench has left."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from audit import __version__
from audit.batch.atomic import write_bytes
from audit.bench.run import load_looks, take_ready
from audit.bench.score import SCHEMA as BENCH
from audit.bench.score import BenchResult, Scored, score_all, score_photo
from audit.bench.truth import find_cases, load_truth
from audit.cli.bench import command as bench
from audit.errors import JobError, Where
from tests.benchmarks.accuracy import gallery
from tests.benchmarks.accuracy.stored import (
    HARM,
    MEASURED,
    WORST,
    Harms,
    Measured,
    Run,
    load,
    model_files,
    models_digest,
    photos_digest,
    read,
    text_of,
)  # fmt: skip


@dataclass(frozen=True)
class Places:
    """Where the page, its figures and its pictures lie."""

    docs: Path

    @property
    def figures(self) -> Path:
        """The figures."""
        return self.docs / "accuracy"

    @property
    def pictures(self) -> Path:
        """The pictures."""
        return self.docs / "img" / "accuracy"

    @property
    def page(self) -> Path:
        """The page."""
        return self.docs / "accuracy.md"


def read_photos(photos: Path, out: Path, workers: int, only: str) -> tuple[Path, Path]:
    """Read and score a set's photos; leaves figures and records in `out`, and tells both files."""
    figures, looks = out / "figures.json", out / "looks.jsonl"
    args = [str(photos), "--json", str(figures), "--save-looks", str(looks)]
    args += ["--workers", str(workers), "--only", only]
    bench.main(args, standalone_mode=False)
    return figures, looks


def take(name: str, photos: Path, figures: Path, looks: Path | None, only: str, to: Places) -> None:
    """Store the figures of one set; with records, of `report` also the worst and their pictures.

    Raises
    ------
    JobError
        When the records are not of the same run as the figures.
    """
    result, written = read(figures, BENCH, BenchResult), figures.stat().st_mtime
    text, cases = figures.read_text(encoding="utf-8"), find_cases(photos, only)
    if result.photos.photos != len(cases):
        what = f"figures of {result.photos.photos} photos, but there are {len(cases)}"
        raise JobError(what, Where(figures), "measure again")
    scored = list(_scored(photos, looks, only)) if looks else None
    if scored and score_all(photos.name, scored).all_checks != result.all_checks:
        raise JobError("records of another run than the figures", Where(looks), "measure again")
    if name == "report":
        _drop_gallery(to)
    if name == "report" and scored:
        worst = gallery.worst_of(photos.name, scored)
        gallery.draw_all(worst, photos, to.pictures)
        _write(to.figures / "worst.json", text_of(worst, WORST))
    _write(to.figures / f"{name}.json", text)
    note(name, len(cases), written, photos_digest(photos), to)


def take_harm(file: Path, folders: Iterable[Path], to: Places) -> None:
    """Store the figures of spoiled photos; their set is one of `folders`, or not at hand."""
    harms, written = read(file, HARM, Harms), file.stat().st_mtime
    _write(to.figures / "harm.json", file.read_text(encoding="utf-8"))
    photos = next((f for f in folders if f.name == harms.folder and f.is_dir()), None)
    note("harm", harms.photos, written, photos_digest(photos) if photos else None, to)


def note(name: str, count: int, written: float, photos_sha256: str | None, to: Places) -> None:
    """Note when and with what figures were measured.

    Parameters
    ----------
    name : str
        The set, or `harm`.
    count : int
        Photos.
    written : float
        When the figures were written, seconds since the epoch. The models'
        digest is noted only where no model is newer than that.
    photos_sha256 : str or None
    to : Places
    """
    measured = load(to.figures, MEASURED, Measured, "measured.json") or Measured()
    known = all(path.stat().st_mtime <= written for path in model_files())
    run = Run(
        date=datetime.datetime.fromtimestamp(written, datetime.UTC).date().isoformat(),
        version=__version__,
        photos=count,
        photos_sha256=photos_sha256,
        models_sha256=models_digest() if known else None,
    )
    noted = Measured(runs={**measured.runs, name: run})
    _write(to.figures / "measured.json", text_of(noted, MEASURED))


def _scored(photos: Path, looks: Path, only: str) -> Iterator[Scored]:
    ready = load_looks(looks)
    for case in find_cases(photos, only):
        yield score_photo(load_truth(case.truth_file), take_ready(case, ready, None))


def _drop_gallery(to: Places) -> None:
    """Take away the worst of an earlier run."""
    (to.figures / "worst.json").unlink(missing_ok=True)
    for old in to.pictures.glob("worst-*.jpg"):
        old.unlink()


def _write(path: Path, text: str) -> None:
    write_bytes(path, text.encode("utf-8"))
