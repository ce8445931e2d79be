"""What was found in a folder of captures, before a sheet is written of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True)
class DraftPass:
    """One capture found in a folder.

    Attributes:
        name: what to call the pass: its folder's or its file's name.
        files: audio in tape order, paths with ``/`` relative to the sheet's folder; at least one.
        tracks: tracks in all the files together.
        sample_rate: as the files say, None if they don't agree.
        bit_depth: word length in bits as the files say, None if they don't agree.
        pattern: a pattern that stands for just these files in this order, None where there is none.
        log: path of the timecode log; None if there is none.
        ltc: path of a recording of the timecode signal; None if there is none.
        frame_rate: what the log says, one of the sheet's five names; None if it says nothing.
        notes: what a person should know about this capture, a line each.
        reel: the tape that it is of; "" where its name has to tell.
        by_sound: whether another capture of its tape has timecode, so that its sound tells where it lies.
        reach: timeline range that it covers by its log; None where no log tells.
    """

    name: str
    files: tuple[str, ...]
    tracks: int
    sample_rate: int | None = None
    bit_depth: int | None = None
    pattern: str | None = None
    log: str | None = None
    ltc: str | None = None
    frame_rate: str | None = None
    notes: tuple[str, ...] = ()
    reel: str = ""
    by_sound: bool = False
    reach: tuple[int, int] | None = None


@dataclass(frozen=True)
class Named:
    """The tracks of a reel, and the timeline ranges that its passes cover by their logs."""

    tracks: Sequence[str]
    reaches: Sequence[tuple[int, int]]

    def runs_beside(self, other: Named) -> bool:
        """Return whether two reels run at the same time for more than half of the shorter one."""
        if not self.reaches or not other.reaches:
            return False
        (low, high), (start, end) = _span(self.reaches), _span(other.reaches)
        both = min(high, end) - max(low, start)
        return 2 * both > min(high - low, end - start)


def _span(reaches: Sequence[tuple[int, int]]) -> tuple[int, int]:
    return min(start for start, _ in reaches), max(end for _, end in reaches)


@dataclass(frozen=True)
class Draft:
    """What was found in a folder of captures.

    Attributes:
        title: its name.
        passes: in natural order.
        notes: what a person should know that belongs to none of the passes, a line each.
        is_measured: whether word lengths were measured, rather than read off headers.
    """

    title: str
    passes: tuple[DraftPass, ...]
    notes: tuple[str, ...] = ()
    is_measured: bool = False
