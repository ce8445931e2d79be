"""Progress of long work, on standard error, and only where a person looks at it."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from assembler.cli.consoles import PlainConsole
from assembler.cli.loudness import Loudness, loudness
from assembler.printable import printable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rich.progress import TaskID


@contextmanager
def shown_progress() -> Iterator[Callable[[str, float], None]]:
    """Give a function that takes what is being done and the share of it that is done, and shows one bar each."""
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
    with Progress(*columns, console=console, transient=True) as bars:
        known: dict[str, TaskID] = {}

        def show(what: str, share: float) -> None:
            if what not in known:
                known[what] = bars.add_task(printable(what), total=1.0)
            bars.update(known[what], completed=share)

        yield show
