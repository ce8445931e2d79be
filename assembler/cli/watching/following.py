"""Captures followed: one calm screen on a terminal, plain lines in a pipe, JSON lines where asked for."""

from __future__ import annotations

import json
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Final

from rich.live import Live

from assembler.cli.answer import DONE, INTERRUPTED, Answer
from assembler.cli.options.loudness import Loudness, loudness
from assembler.cli.process import give_up_output
from assembler.cli.terminal.consoles import PlainConsole
from assembler.cli.terminal.words import say, say_wrapped
from assembler.cli.watching.screen import screen_of
from assembler.watch import Board, Watch, event_json, event_line

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from assembler.known import Known
    from assembler.watch import Event

LINE_SECONDS: Final = 60.0
"""In a pipe the length of a pass is reported once in so many seconds."""

SCREEN_SECONDS: Final = 0.5
"""The screen is drawn again so often at most."""

_ALL_WELL: Final = {("recording", ""), ("timecode", "found")}
"""Events by which nothing is wrong."""

FINISH_SECONDS: Final = 20.0
"""So long a check that runs is waited for in the end."""


def follow(source: Path, *, as_json: bool, allow_outside: bool, known: Known) -> Answer:
    """Follow captures until interrupted; what must be played again is the answer."""
    with Watch(source, allow_outside=allow_outside, known=known) as watch:
        try:
            with suppress(KeyboardInterrupt), _teller(as_json=as_json) as tell:
                for event in watch.run():
                    tell(event)
            with suppress(KeyboardInterrupt):
                _finish(watch)
        except BrokenPipeError:
            give_up_output()
            return Answer(DONE, lambda: None)
        last = watch.last
    return Answer(INTERRUPTED, lambda: _tell_last(last, as_json=as_json))


def _finish(watch: Watch) -> None:
    """Let a check that runs come to its end: the list is what was worked for."""
    if not watch.is_checked:
        say(f"Checking what is finished, {FINISH_SECONDS:.0f} s at most; Ctrl-C again ends at once", err=True)
        for _ in watch.finish(FINISH_SECONDS):
            pass
    if not watch.is_checked:
        say("Not all that is finished is in this list: run `assembler retakes` for it", err=True)


def _tell_last(last: Event | None, *, as_json: bool) -> None:
    if as_json:
        if last is not None:
            _say_object(last)
        return
    _say_list(last)


def _say_list(last: Event | None) -> None:
    if last is None or not last.lines:
        say("Nothing is known yet of what must be played again")
    if last is not None:
        say_wrapped(*last.lines, *([last.words] if last.words else []))


@contextmanager
def _teller(*, as_json: bool) -> Iterator[Callable[[Event], None]]:
    """Give what tells each event."""
    console = PlainConsole()
    if as_json:
        yield _say_object
    elif loudness() is Loudness.QUIET or not console.is_terminal:
        yield _Lines(is_quiet=loudness() is Loudness.QUIET).tell
    else:
        with Live(screen_of(Board()), console=console, auto_refresh=False, screen=True) as live:
            yield _Screen(live).tell


def _say_object(event: Event) -> None:
    say(json.dumps(event_json(event), ensure_ascii=True, allow_nan=False))


class _Lines:
    """Plain lines: each event one, lengths now and then; where little is wanted, only what is wrong.

    Args:
        is_quiet: neither lengths nor lists are reported; the last list is, in the end.
    """

    def __init__(self, *, is_quiet: bool) -> None:
        self._is_quiet = is_quiet
        self._told: dict[str, float] = {}

    def tell(self, event: Event) -> None:
        now = time.monotonic()
        if self._is_quiet and (event.event == "retakes" or (event.event, event.kind) in _ALL_WELL):
            return
        if event.event == "recording" and not event.kind:
            if now - self._told.get(event.pass_name, -LINE_SECONDS) < LINE_SECONDS:
                return
            self._told[event.pass_name] = now
        if event.event == "retakes":
            _say_list(event)
            return
        say(event_line(event))


class _Screen:
    """One screen: what is recorded, what is wrong, what must be played again."""

    def __init__(self, live: Live) -> None:
        self._board = Board()
        self._live = live
        self._drawn_at = 0.0

    def tell(self, event: Event) -> None:
        self._board.take(event)
        now = time.monotonic()
        if event.event != "recording" or now - self._drawn_at >= SCREEN_SECONDS:
            self._drawn_at = now
            self._live.update(screen_of(self._board, self._live.console.height), refresh=True)
