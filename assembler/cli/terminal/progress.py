"""Progress of long work, on standard error, and only where a person looks at it."""

from __future__ import annotations

import time
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from assembler.cli.options.loudness import Loudness, loudness
from assembler.printable import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rich.progress import TaskID

DRAWN_SECONDS: Final = 0.1
"""Bars are drawn anew after so long, and when one is full."""


@contextmanager
def shown_progress() -> Iterator[Callable[[str, float], None]]:
    """Give a function that takes what is being done and the share of it that is done, and shows one bar each."""
    from assembler.cli.terminal.consoles import PlainConsole

    console = PlainConsole(stderr=True)
    if not console.is_terminal or loudness() is Loudness.QUIET:
        yield lambda *_: None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:3.0f}%"),
        TimeRemainingColumn(),
    )
    # Drawn by whoever tells of progress: a thread for it would hold locks, and nothing could be forked beside it.
    with Progress(*columns, console=console, transient=True, auto_refresh=False) as bars:
        known: dict[str, TaskID] = {}
        drawn = 0.0

        def show(what: str, share: float) -> None:
            nonlocal drawn
            if what not in known:
                known[what] = bars.add_task(printable(what), total=1.0)
            bars.update(known[what], completed=share)
            if (now := time.monotonic()) >= drawn + DRAWN_SECONDS or share >= 1.0:
                drawn = now
                bars.refresh()

        yield show
