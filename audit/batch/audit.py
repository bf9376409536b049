"""A whole audit: job folder in, `out/checklist.json` and `out/checklist.html` out."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Protocol

from audit.batch.cache import LookCache, tool_fingerprint
from audit.batch.executor import Died, Executor, LocalProcesses
from audit.batch.link import file_name, first_tags, linked_photos, look_tasks
from audit.batch.outputs import (
    CHECKLIST_HTML,
    CHECKLIST_JSON,
    OUT,
    only_run,
    replace_outputs,
)
from audit.batch.photos import LookTask, LookWork, look_all, look_task
from audit.batch.tags import tag_of
from audit.checklist.build import Inputs, build
from audit.checklist.models import Checklist, HoldPoint, PhotoEntry
from audit.checklist.seen import LinkedPhoto
from audit.errors import ExitCode
from audit.job.label import Linking, PhotoTag, link_photos
from audit.job.read import Job, load_job
from audit.measure.contract import LookRecord
from audit.report.html import page
from audit.report.pictures import Pictures, PictureTask, kept_pictures, make_pictures
from audit.rules.house import HouseRules, load_house
from audit.settings import Settings

CACHE = ".cache"
_SIZES = ((40, 1280, 480), (150, 960, 380), (600, 640, 280), (20_000, 480, 200))
"""Up to so many photos: longer side of a picture, width of a crop, px; keeps the page openable."""


class Progress(Protocol):
    """Who is told how far the run is."""

    def stage(self, name: str, total: int) -> None:
        """Begin a stage of `total` steps."""

    def advance(self) -> None:
        """One step is done."""


class Silent:
    """Tells nobody."""

    def stage(self, name: str, total: int) -> None:
        """Nothing."""

    def advance(self) -> None:
        """Nothing."""


@dataclass(frozen=True)
class Options:
    """How an audit is run.

    Parameters
    ----------
    hold_point : str or None
        Only its items; by default the job's own, else both.
    settings : Settings or None
        Fields set in it win over the job's.
    work : callable
        Reads one photo; importable by name in a worker.
    """

    hold_point: HoldPoint | None = None
    settings: Settings | None = None
    work: LookWork = look_task


@dataclass(frozen=True)
class Audited:
    """What an audit made.

    Parameters
    ----------
    checklist : Checklist
    json_file, html_file : pathlib.Path
    died : int
        Photos whose worker died twice.
    kept : int
        Photos taken over from an earlier run.
    """

    checklist: Checklist
    json_file: Path
    html_file: Path
    died: int = 0
    kept: int = 0

    @property
    def exit_code(self) -> ExitCode:
        """See the reference of exit codes."""
        if self.died:
            return ExitCode.RESOURCES
        if self.checklist.summary.photos["failed"]:
            return ExitCode.UNREADABLE
        loose = any(p.fitting is None or p.notes for p in self.checklist.photos)
        if loose or any(i.open for i in self.checklist.items):
            return ExitCode.OPEN_POINTS
        return ExitCode.DONE


def audit_job(
    folder: Path,
    options: Options | None = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Audited:
    """Audit a job folder.

    Finished photos are kept in `out/.cache`, so that a run that was cut short
    goes on from there; the two outputs change together or not at all.

    Parameters
    ----------
    folder : pathlib.Path
    options : Options, optional
    progress : Progress, optional
    executor : Executor, optional
        By default processes of this machine.

    Raises
    ------
    JobProblems, JobError
        The job can't be read.
    ResourceError
        Another run is at work on the job.
    OSError
        The outputs can't be written; the old ones stand.
    """
    options = options or Options()
    job = load_job(folder, options.settings)
    named = job.facts.house_rules
    # Read before any photo is: what is wrong in it should be told at once.
    house = load_house(job.root / named, named) if named else None
    with only_run(job.root / OUT), contextlib.ExitStack() as stack:
        if executor is None:
            executor = stack.enter_context(LocalProcesses(job.settings.workers))
        return _Run(job, options, progress or Silent(), executor, house).all()


@dataclass
class _Run:
    job: Job
    options: Options
    progress: Progress
    executor: Executor
    house: HouseRules | None
    died: int = 0
    kept: int = 0
    tags: dict[str, PhotoTag] = field(default_factory=dict)

    @property
    def out(self) -> Path:
        return self.job.root / OUT

    def all(self) -> Audited:
        self.progress.stage("linking photos", len(self.job.photos))
        for path, tag in first_tags(self.job, self.executor):
            self.tags[path] = tag
            self.progress.advance()
        linking, records = self._look()
        photos = linked_photos(linking, records, self.tags)
        checklist = self._checklist(photos)
        pictures = self._pictures(photos)
        source = partial(_pictures_of, self.out / CACHE, pictures)
        replace_outputs(
            self.out,
            (
                (CHECKLIST_JSON, [checklist.to_json(), "\n"]),
                (CHECKLIST_HTML, page(checklist, source)),
            ),
        )
        return Audited(
            checklist, self.out / CHECKLIST_JSON, self.out / CHECKLIST_HTML, self.died, self.kept
        )

    def _look(self) -> tuple[Linking, dict[str, LookRecord]]:
        """Read all photos; again those of which the reading itself changed what is declared."""
        linking = link_photos(self.job, self.tags)
        tasks = look_tasks(self.job, linking, self.job.settings)
        paths = [link.photo for link in linking.links]
        records = self._read(paths, tasks)
        self.tags = {p: tag_of(records[p], self.tags[p]) for p in paths}
        linking = link_photos(self.job, self.tags)
        again = look_tasks(self.job, linking, self.job.settings)
        changed = [n for n in range(len(paths)) if again[n] != tasks[n]]
        if changed:
            records |= self._read([paths[n] for n in changed], [again[n] for n in changed])
        return linking, records

    def _read(self, paths: list[str], tasks: list[LookTask]) -> dict[str, LookRecord]:
        self.progress.stage("reading photos", len(tasks))
        cache = LookCache(self.out / CACHE)
        found: dict[str, LookRecord] = {}
        results = look_all(tasks, self.executor, work=self.options.work, cache=cache)
        for index, looked in results:
            found[paths[index]] = looked.record
            self.died += looked.died
            self.kept += looked.kept
            self.progress.advance()
        return found

    def _checklist(self, photos: list[LinkedPhoto]) -> Checklist:
        facts = self.job.facts
        self.progress.stage("applying the rules", 1)
        checklist = build(
            Inputs(
                facts=facts,
                photos=photos,
                settings=self.job.settings,
                fingerprint=tool_fingerprint(),
                house=self.house,
                hold_point=self.options.hold_point,
            )
        )
        self.progress.advance()
        return checklist

    def _pictures(self, photos: list[LinkedPhoto]) -> dict[str, Pictures]:
        width, crop = next((w, c) for most, w, c in _SIZES if len(photos) <= most)
        paths = {file_name(p.path): self.job.root / p.path for p in self.job.photos}
        tasks = [
            PictureTask(paths[p.file], p.record, self.out / CACHE, width, crop, self.job.settings)
            for p in photos
            if p.record.size_px is not None
        ]
        made = {t.key: found for t in tasks if (found := kept_pictures(t)) is not None}
        # Copies of one photo have one key, and are drawn once.
        to_do = list({t.key: t for t in tasks if t.key not in made}.values())
        self.progress.stage("drawing pictures", len(to_do))
        for index, result in self.executor.run(make_pictures, to_do):
            if result is not None and not isinstance(result, Died):
                made[to_do[index].key] = result
            self.progress.advance()
        return {t.record.photo: made[t.key] for t in tasks if t.key in made}


def _pictures_of(
    folder: Path, made: Mapping[str, Pictures], entry: PhotoEntry
) -> tuple[Path, Pictures] | None:
    pictures = made.get(entry.file)
    return None if pictures is None else (folder, pictures)
