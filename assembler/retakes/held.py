"""What each pass of a tape holds at a place of one track, looked up quickly. Positions are timeline samples."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner import AlignedPass

Range = tuple[int, int]


@dataclass(frozen=True)
class Place:
    """A stretch of one track that asks for a play, in one state or kind."""

    track: int
    start: int
    end: int
    state: str


class _Flaws:
    """Flaws of one pass on one track."""

    def __init__(self, flaws: Iterable[tuple[int, int, str]]) -> None:
        self._flaws = sorted(flaws)
        self._starts = [start for start, _, _ in self._flaws]
        self._longest = max((end - start for start, end, _ in self._flaws), default=0)

    def kinds(self, start: int, end: int) -> set[str]:
        """Return the kinds of those that meet a place."""
        first = bisect_left(self._starts, start - self._longest)
        last = bisect_left(self._starts, end)
        return {kind for _, behind, kind in self._flaws[first:last] if behind > start}


class HeldPass:
    """One pass, asked for what it has at places."""

    def __init__(self, one: AlignedPass) -> None:
        self.name = one.imported.name
        self.is_used = one.time_map is not None
        self._pieces: list[Range] = []
        self._lost: list[Range] = []
        flaws: dict[int, list[tuple[int, int, str]]] = {}
        if one.time_map is not None:
            stretches = one.time_map.stretches
            self._pieces = less([(s.timeline_start, s.timeline_end) for s in stretches], one.idle)
            self._lost = [
                (a.timeline_end, b.timeline_start)
                for a, b in pairwise(stretches)
                if a.timeline_end < b.timeline_start
            ]
            for flaw in one.flaws:
                for start, end in one.time_map.timeline_ranges(flaw.start, flaw.end):
                    for track in flaw.tracks:
                        flaws.setdefault(track, []).append((start, end, flaw.kind))
        self._flaws = {track: _Flaws(found) for track, found in flaws.items()}

    def has_played(self, start: int, end: int) -> bool:
        """Return whether the tape was played in this pass where a place lies, be it captured or lost."""
        return _meets(self._pieces, start, end) or _meets(self._lost, start, end)

    def kinds(self, place: Place) -> set[str]:
        """Return what is wrong with a place in this pass: kinds of flaw, "slip" where it was lost; empty if nothing."""
        own = self._flaws.get(place.track)
        found = own.kinds(place.start, place.end) if own is not None else set()
        return found | {"slip"} if _meets(self._lost, place.start, place.end) else found

    def holds(self, start: int, end: int) -> bool:
        """Return whether it has any sample of a place."""
        return _meets(self._pieces, start, end)


def _meets(ranges: Sequence[Range], start: int, end: int) -> bool:
    number = bisect_right(ranges, start, key=lambda one: one[1])
    return number < len(ranges) and ranges[number][0] < end


def less(ranges: Sequence[Range], holes: Sequence[Range]) -> list[Range]:
    """Return ranges in order without what lies in others, which are few; none that is empty."""
    left = [one for one in ranges if one[0] < one[1]]
    for low, high in holes:
        left = [
            piece
            for start, end in left
            for piece in ((start, min(end, low)), (max(start, high), end))
            if piece[0] < piece[1]
        ]
    return left
