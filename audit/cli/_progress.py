"""Progress on stderr: a bar on a terminal, a line for each stage elsewhere."""

from __future__ import annotations

from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn


class Bars:
    """A bar for each stage of a run; a context manager."""

    def __init__(self) -> None:
        self._console = Console(stderr=True)
        self._live = self._console.is_terminal
        self._bars = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeElapsedColumn(),
            console=self._console,
            disable=not self._live,
        )
        self._task = self._bars.add_task("", total=None, visible=False)

    def __enter__(self) -> Bars:
        self._bars.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bars.stop()

    def stage(self, name: str, total: int) -> None:
        """Begin a stage of `total` steps."""
        if total == 0:
            return
        if self._live:
            self._task = self._bars.add_task(name, total=total)
        else:
            self._console.print(f"{name}: {total}", markup=False, highlight=False)

    def advance(self) -> None:
        """One step is done."""
        self._bars.advance(self._task)
