"""Make the checklist again after a person put marks, within this process."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from audit.batch.audit import Options, audit_job
from audit.batch.executor import Died

Task = TypeVar("Task")
Result = TypeVar("Result")


class Here:
    """Runs tasks one after the other where it is called: after a mark one photo is to be read."""

    def run(
        self, work: Callable[[Task], Result], tasks: Sequence[Task]
    ) -> Iterator[tuple[int, Result | Died]]:
        """Yield each task's index and result, in order."""
        for index, task in enumerate(tasks):
            yield index, work(task)


def remake(root: Path) -> None:
    """Audit a job again; what was read before is taken from the cache.

    Parameters
    ----------
    root : pathlib.Path

    Raises
    ------
    LidoffError
        As `audit_job`.
    """
    audit_job(root, Options(), executor=Here())
