"""One way to run many small tasks, and its local form in worker processes.

Workers are started with `spawn`: a forked child of a process with threads may
hang on a lock that nobody will release. Tasks and results travel pickled, so
they hold paths and findings, never pixels.
"""

from __future__ import annotations

import contextlib
import logging
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing.connection import wait as wait_for
from typing import Protocol, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")
PATIENCE_S = 600.0
"""A worker that has nothing to show for so long hangs; the slowest photo takes a tenth of it."""
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Died:
    """Stands in the place of a result whose worker died twice.

    Parameters
    ----------
    reason : str
        What a person can make of it.
    """

    reason: str


class Executor(Protocol):
    """Runs tasks somewhere and hands back each result as it comes."""

    def run(
        self, work: Callable[[Task], Result], tasks: Sequence[Task]
    ) -> Iterator[tuple[int, Result | Died]]:
        """Yield `(index of the task, its result)`, each exactly once, in any order."""
        ...


def worker_count(asked: int) -> int:
    """How many workers to start; 0 takes one for each processor this process may use."""
    if asked > 0:
        return asked
    try:
        return max(1, len(os.sched_getaffinity(0)))
    except AttributeError:  # not on every system
        return max(1, os.cpu_count() or 1)


def _leave_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for([parent.sentinel])
        os._exit(1)


def prepare_worker() -> None:
    """Set up a worker process: one OpenCV thread, no Ctrl-C of its own, no life of its own.

    A parent that is killed outright can't tell its workers; a thread that
    waits on the parent's sentinel ends them, else they would stay for ever.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()
    # Worker processes are the parallelism; threads below them only fight for the processors.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    import cv2

    cv2.setNumThreads(1)


@contextlib.contextmanager
def _interrupt_held() -> Iterator[None]:
    """Start workers with Ctrl-C held back, which they inherit: it is the parent's to act on.

    A Ctrl-C that comes meanwhile reaches the parent when the block ends.
    """
    if not hasattr(signal, "pthread_sigmask"):  # not on every system
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class LocalProcesses:
    """Runs tasks in processes of this machine.

    Only as many tasks are handed over as there are workers, so that memory
    stays flat and, when a worker dies, the suspects are few. Each suspect is
    then tried once more, alone in a process of its own: the one that kills its
    process again is the culprit and yields `Died`; the others lose nothing. A
    context manager: its end is the workers' end.

    Parameters
    ----------
    workers : int
        0 takes one for each processor.
    patience_s : float
        When no task ends within this time, the workers count as hanging and are ended.
    """

    def __init__(self, workers: int = 0, patience_s: float = PATIENCE_S) -> None:
        self._workers = worker_count(workers)
        self._patience = patience_s
        self._kept: ProcessPoolExecutor | None = None

    def __enter__(self) -> LocalProcesses:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the workers; a later run starts new ones."""
        if self._kept is not None:
            self._kept.shutdown(wait=True, cancel_futures=True)
            self._kept = None

    def _pool(self, workers: int) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            max_workers=workers,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=prepare_worker,
        )

    def run(
        self, work: Callable[[Task], Result], tasks: Sequence[Task]
    ) -> Iterator[tuple[int, Result | Died]]:
        """See `Executor.run`. An exception raised by `work` itself is raised here."""
        waiting = deque(range(len(tasks)))
        while waiting:
            suspects: list[int] = []
            yield from self._until_broken(work, tasks, waiting, suspects)
            for index in suspects:
                yield index, self._alone(work, tasks[index])

    def _until_broken(
        self,
        work: Callable[[Task], Result],
        tasks: Sequence[Task],
        waiting: deque[int],
        suspects: list[int],
    ) -> Iterator[tuple[int, Result]]:
        """Run until all is done or the pool breaks; then `suspects` holds what was under way."""
        # Workers take seconds to start, so they stay from one stage to the next.
        pool = self._kept = self._kept or self._pool(self._workers)
        running: dict[Future[Result], int] = {}
        broken = False
        try:
            while (waiting or running) and not broken:
                broken = not self._fill(pool, work, tasks, waiting, running)
                finished, _ = wait(running, self._patience, FIRST_COMPLETED)
                if running and not finished:
                    end_workers(pool)
                    broken = True
                for future in finished:
                    index = running.pop(future)
                    try:
                        result = future.result()
                    except BrokenProcessPool:
                        suspects.append(index)
                        broken = True
                    else:
                        yield index, result
            # Whoever was under way together with the dead worker lost its result too.
            suspects.extend(running.values())
            if suspects:
                _log.warning("a worker died; trying %d photo(s) again, one by one", len(suspects))
        finally:
            if broken or waiting or running:
                self._kept = None
                pool.shutdown(wait=not broken, cancel_futures=True)

    def _fill(
        self,
        pool: ProcessPoolExecutor,
        work: Callable[[Task], Result],
        tasks: Sequence[Task],
        waiting: deque[int],
        running: dict[Future[Result], int],
    ) -> bool:
        """Hand over as many tasks as there are workers; False when the pool takes no more."""
        while waiting and len(running) < self._workers:
            index = waiting.popleft()
            try:
                with _interrupt_held():
                    running[pool.submit(work, tasks[index])] = index
            except BrokenProcessPool:  # a worker died between two stages
                waiting.appendleft(index)
                return False
        return True

    def _alone(self, work: Callable[[Task], Result], task: Task) -> Result | Died:
        with self._pool(1) as pool:
            try:
                with _interrupt_held():
                    future = pool.submit(work, task)
                return future.result(self._patience)
            except BrokenProcessPool:
                return Died(
                    "the process reading it died twice (out of memory, or a fault in a library)"
                )
            except TimeoutError:
                if future.done():  # raised by the work itself
                    raise
                end_workers(pool)
                return Died(f"reading it was not done after {self._patience:.0f} s")


def end_workers(pool: ProcessPoolExecutor) -> None:
    """End a pool's processes at once; what they were at raises `BrokenProcessPool`."""
    # Python 3.14 has `kill_workers` for this; before it there is no public way.
    for process in list((pool._processes or {}).values()):
        process.kill()
