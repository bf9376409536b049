"""Read many photos: N in are N records out, each with an outcome."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from audit.batch.cache import LookCache
from audit.batch.executor import Died, Executor
from audit.errors import ModelsError
from audit.measure.contract import LookRecord
from audit.settings import Settings

if TYPE_CHECKING:
    from audit.job.marks import Mark
    from audit.measure.declared import Declared
    from audit.measure.looks import Unmarked
    from audit.photo.types import Photo


@dataclass(frozen=True)
class LookTask:
    """One photo to read: small and picklable, paths in, findings out.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    name : str
        What the photo is called in the record, a path relative to the job's
        `photos/` or the argument of `lidoff look`.
    settings : Settings
    marks : tuple of Mark
        What a person marked on this photo.
    declared : Declared or None
        What the job says about the fitting.
    masks_dir : pathlib.Path or None
        Where `NAME.ids.png` goes.
    explain_dir : pathlib.Path or None
        Where the stages' pictures go.
    """

    path: Path
    name: str
    settings: Settings = field(default_factory=Settings)
    marks: tuple[Mark, ...] = ()
    declared: Declared | None = None
    masks_dir: Path | None = None
    explain_dir: Path | None = None


@dataclass(frozen=True)
class Looked:
    """One photo's record, and how it came about.

    Parameters
    ----------
    record : LookRecord
    died : bool
        Its worker died twice; the record says `failed` and is not kept for the next run.
    kept : bool
        It comes from an earlier run.
    """

    record: LookRecord
    died: bool = False
    kept: bool = False


LookWork = Callable[[LookTask], LookRecord]


def failed(name: str, reason: str, sha256: str | None = None) -> LookRecord:
    """Make the record of a photo that could not be read; unknown fields are null."""
    return LookRecord(
        photo=name, sha256=sha256, size_px=None, outcome="failed", usable=None, reasons=(reason,)
    )


def look_task(task: LookTask) -> LookRecord:
    """Read one photo inside a worker; what goes wrong with it becomes `failed`.

    Raises
    ------
    ModelsError
        Data of the tool itself is missing: no photo could be read.
    """
    try:
        from audit.measure.look import look_photo  # heavy; only workers need it
        from audit.measure.looks import unmarked

        before = unmarked if task.explain_dir is None else _once(unmarked)
        record = look_photo(
            task.path,
            settings=task.settings,
            marks=task.marks,
            declared=task.declared,
            masks_dir=task.masks_dir,
            name=task.name,
            before=before,
        )
        if task.explain_dir is not None:
            from audit.report.explain import explain_photo

            explain_photo(
                task.path,
                record,
                task.explain_dir,
                settings=task.settings,
                marks=task.marks,
                declared=task.declared,
                before=before,
            )
        return _without_path(record, task.path)
    except ModelsError:
        raise
    except OSError as exc:
        if task.masks_dir is not None or task.explain_dir is not None:
            raise  # what was asked for can't be written: the next photo would fare no better
        return failed(task.name, f"it can't be read ({exc.strerror or exc})")
    except MemoryError:
        return failed(task.name, "not enough memory to read it; make the photo smaller")
    except Exception as exc:  # a fault of ours must not cost the other photos
        return failed(task.name, f"a fault in the tool ({type(exc).__name__}: {exc})")


def _once(work: Callable[[Photo], Unmarked]) -> Callable[[Photo], Unmarked]:
    """One photo's stages before marks, run once: they take nearly all of the time."""
    kept: list[Unmarked] = []

    def get(photo: Photo) -> Unmarked:
        if not kept:
            kept.append(work(photo))
        return kept[0]

    return get


def _without_path(record: LookRecord, path: Path) -> LookRecord:
    """A reason that begins with the file's path on this machine loses it: the name is known."""
    reasons = tuple(r.removeprefix(f"{path}: ") for r in record.reasons)
    return record if reasons == record.reasons else record.model_copy(update={"reasons": reasons})


def look_all(
    tasks: Sequence[LookTask],
    executor: Executor,
    *,
    work: LookWork = look_task,
    cache: LookCache | None = None,
) -> Iterator[tuple[int, Looked]]:
    """Read photos, each exactly once, as they are finished.

    Parameters
    ----------
    tasks : sequence of LookTask
    executor : Executor
    work : callable
        Reads one photo; importable by name in a worker.
    cache : LookCache or None
        Where finished records are kept for the next run.

    Yields
    ------
    (int, Looked)
        Index of the task and its record; as many as there are tasks.
    """
    to_do: list[int] = []
    for index, task in enumerate(tasks):
        found = cache.get(task) if cache is not None else None
        if found is None:
            to_do.append(index)
        else:
            yield index, Looked(found, kept=True)
    seen: set[int] = set()
    for position, result in executor.run(work, [tasks[i] for i in to_do]):
        index = to_do[position]
        assert index not in seen, "one photo, one outcome"
        seen.add(index)
        if isinstance(result, Died):
            yield index, Looked(failed(tasks[index].name, result.reason), died=True)
            continue
        if cache is not None:
            cache.put(tasks[index], result)
        yield index, Looked(result)
    assert len(seen) == len(to_do), "N photos in must be N outcomes out"


def in_order(results: Iterator[tuple[int, Looked]], count: int) -> Iterator[Looked]:
    """Hand results on in the order of the tasks, each as soon as those before it are there."""
    held: dict[int, Looked] = {}
    following = 0
    for index, looked in results:
        held[index] = looked
        while following in held:
            yield held.pop(following)
            following += 1
    assert following == count, f"{count} photos in, {following} outcomes out"
