"""The timecode of a pass that is being recorded: where it lies by the log as far as that is written."""

from __future__ import annotations

import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assembler.errors import AssemblerError, SheetError
from assembler.importer.places.settling import settle_positions
from assembler.importer.places.source import find_position
from assembler.sheet import find_timecode
from assembler.watch.events import length_words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from assembler.importer import PassAudio, Position
    from assembler.sheet import Pass, Reel, Sheet

LOST_SECONDS: Final = 1.5
"""Sound without timecode from which it is lost: recorders write sound and log each in its own time."""

LONGEST_FLUSH: Final = 1.5
"""A log that was not written to for so many times the longest pause before is not written any more."""

MOST_SHARE: Final = 0.02
"""Share of one core that reading logs again may take: a long one is read less often."""

PATIENCE_SECONDS: Final = 10.0
"""Sound after which it is reported that there is no timecode yet."""

READ_SECONDS: Final = 1.0
"""A log is read again after this time at the earliest."""


@dataclass
class GrowingClock:
    """Where a pass lies by its own log.

    Args:
        position: by what the log has said by now; None while it says nothing.
        is_lost: whether timecode came, and comes no more while sound does.
        lost_at: seconds of the pass at which it ended.
        problem: why the pass has no place by its log.
    """

    position: Position | None = None
    is_lost: bool = False
    lost_at: float = 0.0
    problem: str = ""
    _size: int = -1
    _grew_at: float = 0.0
    _longest_pause: float = 0.0
    _read_at: float = field(default=-1e9)
    _cost: float = 0.0
    _told: str = ""

    def follow(self, sheet: Sheet, one: Pass, reel: Reel, audio: PassAudio, now: float) -> None:
        """Look at the log again where there is something new in it, and not too often.

        Args:
            sheet: for its rates.
            one: the pass.
            reel: its tape.
            audio: what it holds by now.
            now: seconds of a clock that never goes back.
        """
        path = _log_of(sheet, one)
        size = -1 if path is None else _size_of(path)
        if size != self._size:
            if self._size >= 0 and self._grew_at:
                self._longest_pause = max(self._longest_pause, now - self._grew_at)
            self._size, self._grew_at, is_new = size, now, True
        else:
            is_new = False
        is_still = path is not None and now - self._grew_at > max(
            LOST_SECONDS, LONGEST_FLUSH * self._longest_pause
        )
        due = now - self._read_at >= max(READ_SECONDS, self._cost / MOST_SHARE)
        was_read = self._read_at > self._grew_at
        if (due and (is_new or not was_read or path is None)) or (is_still and not was_read):
            self._read(sheet, one, reel, audio, now)
        self._judge(audio.length / sheet.session.sample_rate, is_still=is_still)

    def news(self, length: int, rate: int) -> Iterator[tuple[str, int, str]]:
        """Yield kind, pass sample and words of what is new: found, lost, or none after a while.

        Args:
            length: of the pass so far.
            rate: samples in a second.
        """
        state = self._told
        if self.position is not None:
            state = "lost" if self.is_lost else "found"
        elif self.problem and length > PATIENCE_SECONDS * rate:
            state = "none"
        if state == self._told:
            return
        at, words = 0, "timecode found"
        if state == "lost":
            at = min(round(self.lost_at * rate), length)
            words = f"timecode lost {length_words(at, rate)} in, while sound goes on"
        elif state == "none":
            words = f"no timecode so far ({self.problem})"
        elif self._told == "lost":
            at, words = length, "timecode is back"
        self._told = state
        yield state, at, words

    def _read(self, sheet: Sheet, one: Pass, reel: Reel, audio: PassAudio, now: float) -> None:
        before = time.thread_time()
        try:
            with ExitStack() as opened:
                found, _ = find_position(sheet, one, reel, audio, opened)
            position = settle_positions([found], sheet.session)[0]
            self.position = None if position.source == "audio" else position
            self.problem = ""
        except AssemblerError as error:
            # The sheet is mostly one that was drafted in memory, whose lines nobody can look up.
            self.problem = error.problem if isinstance(error, SheetError) else str(error)
        self._read_at, self._cost = now, time.thread_time() - before

    def _judge(self, seconds: float, *, is_still: bool) -> None:
        clock = None if self.position is None else self.position.clock
        if clock is None:
            return
        end = clock.stretches[-1].log_end / clock.rate_ratio
        behind = seconds - end > LOST_SECONDS
        if not behind:
            self.is_lost = False
        elif is_still or self._size < 0:
            self.is_lost, self.lost_at = True, max(0.0, end)


def _log_of(sheet: Sheet, one: Pass) -> Path | None:
    try:
        return find_timecode(sheet, one)
    except AssemblerError:
        return None


def _size_of(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return -1
