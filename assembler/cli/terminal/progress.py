"""Progress of long work, on standard error, and only where a person looks at it."""

from __future__ import annotations

import threading
import time
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Final

from assembler.cli.options.loudness import Loudness, loudness
from assembler.cli.terminal.words import say
from assembler.printable import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rich.progress import Progress, TaskID

DRAWN_SECONDS: Final = 0.1
"""Bars are drawn anew after so long, and when one is full."""
STILL_SECONDS: Final = 0.5
"""While nothing is told they are drawn as often, so that the time goes on in the midst of a long task."""


@contextmanager
def shown_progress() -> Iterator[Callable[[str, float], None]]:
    """Give a function that takes what is being done and the share of it that is done, and shows one bar each."""
    with told_progress() as (show, _):
        yield show


@contextmanager
def told_progress() -> Iterator[tuple[Callable[[str, float], None], Callable[[str], None]]]:
    """Give the same, and a function that says a line on standard error: above the bars, where there are some."""
    from assembler.cli.terminal.consoles import PlainConsole

    console = PlainConsole(stderr=True)
    if not console.is_terminal or loudness() is Loudness.QUIET:
        yield lambda *_: None, partial(say, err=True)
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:3.0f}%"),
        TimeElapsedColumn(),
        TimeRemainingColumn(),
    )
    # No thread of the library's own draws: it would hold locks, and nothing could be forked beside it.
    with Progress(*columns, console=console, transient=True, auto_refresh=False) as progress:
        bars = _Bars(progress)
        try:
            yield bars.show, partial(console.print, soft_wrap=True)
        finally:
            bars.end()


class _Bars:
    """Draws bars when progress is told, and once there are other threads, in one of its own, too."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self._known: dict[str, TaskID] = {}
        self._drawn = 0.0
        self._ended = threading.Event()
        self._thread: threading.Thread | None = None

    def show(self, what: str, share: float) -> None:
        if what not in self._known:
            self._known[what] = self._progress.add_task(printable(what), total=1.0)
        self._progress.update(self._known[what], completed=share)
        if self._thread is None and threading.active_count() > 1:
            self._thread = threading.Thread(target=self._keep_drawing, daemon=True)
            self._thread.start()
        if (now := time.monotonic()) >= self._drawn + DRAWN_SECONDS or share >= 1.0:
            self._drawn = now
            self._progress.refresh()

    def end(self) -> None:
        self._ended.set()
        if self._thread is not None:
            self._thread.join()

    def _keep_drawing(self) -> None:
        while not self._ended.wait(STILL_SECONDS):
            self._progress.refresh()
