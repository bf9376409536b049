"""Stand-ins for the reading of a photo; importable by name in a worker."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from audit.batch.cache import file_sha256
from audit.measure.contract import LookRecord


def look(task) -> LookRecord:
    """A record without findings; `kill` in the name ends the worker, `slow` waits."""
    if "kill-always" in task.name:
        os.kill(os.getpid(), signal.SIGKILL)
    if "kill-once" in task.name:
        been = task.path.with_suffix(".been")
        if not been.exists():
            been.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    if "slow" in task.name:
        time.sleep(0.2)
    folder = task.path.parent
    log = (folder.parent if folder.name == "photos" else folder) / "read.log"
    with log.open("a") as out:
        out.write(task.name + "\n")
    label = {"label": task.name.split("card-")[1].split(".")[0]} if "card-" in task.name else {}
    return LookRecord(
        photo=task.name,
        sha256=file_sha256(task.path),
        size_px=(10, 10),
        outcome="read",
        usable=True,
        declared_cables=None if task.declared is None else task.declared.cables,
        **label,
        worker=os.getpid(),
        threads=__import__("cv2").getNumThreads(),
    )


def square(number: int) -> int:
    return number * number


def wait_long(folder: Path) -> None:
    (folder / f"{os.getpid()}.pid").touch()
    time.sleep(60)


def maybe_hang(number: int) -> int:
    if number == 0:
        time.sleep(3600)
    return number


def own_pid(_: None) -> int:
    return os.getpid()
