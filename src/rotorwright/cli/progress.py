"""How far long work is, on a terminal."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from rotorwright.cli.console import out

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console


class ProgressLine:
    """One moving line for what takes long; it is gone while nothing moves, so that questions stand alone."""

    def __init__(self, progress: Progress, *, is_shown: bool) -> None:
        self._progress = progress
        self._is_shown = is_shown
        self._task = progress.add_task("", total=None)
        self._words = ""

    def show(self, words: str, done: int, total: int) -> None:
        """Show how far it is; the line vanishes when it is done."""
        if not self._is_shown:
            return
        if words != self._words:
            self._words = words
            self._progress.reset(self._task, description=words, total=total)
        self._progress.update(self._task, completed=done, total=total)
        if done >= total:
            self.stop()
        elif not self._progress.live.is_started:
            self._progress.start()

    def stop(self) -> None:
        """Take the line away until something moves again."""
        if self._progress.live.is_started:
            self._progress.stop()


@contextmanager
def shown_progress(console: Console = out) -> Iterator[ProgressLine]:
    """Show long work on a terminal; elsewhere stay quiet."""
    columns = (TextColumn("  {task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"))
    line = ProgressLine(
        Progress(*columns, TimeElapsedColumn(), console=console, transient=True), is_shown=console.is_terminal
    )
    try:
        yield line
    finally:
        line.stop()
