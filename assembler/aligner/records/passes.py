"""A pass of a reel with its place, and what it is read by. All positions are timeline samples unless said otherwise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from assembler.aligner.records.ranges import merged

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.timemap import TimeMap
    from assembler.arrays import Int32s


class Packed(Protocol):
    """Samples as a file has them: the same where their bytes are."""

    def unpacked(self) -> Int32s:
        """Return them as numbers, in a new array."""

    def has_zeros(self, count: int) -> bool:
        """Return whether so many in a row may be zero."""


class TrackReader(Protocol):
    """Anything that gives samples of several tracks by position; zero outside."""

    @property
    def tracks(self) -> int:
        """Number of tracks."""

    @property
    def length(self) -> int:
        """Samples in the longest track."""

    def read(self, track: int, start: int, count: int) -> Int32s:
        """Return ``count`` samples of one track from ``start`` on."""


def packed_from(reader: TrackReader, track: int, start: int, count: int) -> Packed | None:
    """Return what ``read`` of a reader unpacks; None where it does more than that, or nothing is packed."""
    packed: Callable[[int, int, int], Packed | None] | None = getattr(reader, "packed", None)
    return packed(track, start, count) if packed else None


@dataclass(frozen=True)
class PlacedPass:
    """One pass of a reel with its place.

    Args:
        name: of the pass.
        reader: its audio, tape tracks in tape order.
        maps: one time map per tape track; tracks of one pass may differ in length.
    """

    name: str
    reader: TrackReader
    maps: tuple[TimeMap, ...]

    def covered(self, track: int) -> list[Range]:
        """Return the timeline ranges that the pass holds of one track."""
        return [(s.timeline_start, s.timeline_end) for s in self.maps[track].stretches]

    def packed(self, track: int, start: int, end: int) -> Packed | None:
        """Return what ``samples`` unpacks; None where it does more, or nothing is packed."""
        pieces = self.maps[track].covering(start, end)
        is_whole = len(pieces) == 1 and (pieces[0].timeline_start, pieces[0].timeline_end) == (start, end)
        return packed_from(self.reader, track, pieces[0].pass_start, end - start) if is_whole else None

    def samples(self, track: int, start: int, end: int) -> Int32s:
        """Return the pass's samples of a timeline range, zero where it holds none."""
        pieces = self.maps[track].covering(start, end)
        if len(pieces) == 1 and (pieces[0].timeline_start, pieces[0].timeline_end) == (start, end):
            return self.reader.read(track, pieces[0].pass_start, end - start)
        out = np.zeros(end - start, np.int32)
        for piece in pieces:
            count = piece.pass_end - piece.pass_start
            at = piece.timeline_start - start
            out[at : at + count] = self.reader.read(track, piece.pass_start, count)
        return out


def covered_by(passes: Iterable[PlacedPass], track: int) -> list[Range]:
    """Return the timeline ranges of a track that any of some passes holds."""
    return merged(piece for one in passes for piece in one.covered(track))
