"""Reels that follow one another on the same tracks, tied together by their sound where they overlap.

Timecode places a reel to a few samples. Where a reel change was recorded on two machines from one digital source,
both tapes hold the same numbers for a while: then the later reel is moved to where they are identical, and the join
costs nothing. Where the sound does not agree the reels stay where their timecode puts them and are joined by a fade.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.aligner.ranges import common
from assembler.aligner.relating import ANCHOR_SAMPLES, relate
from assembler.importer import Note

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.examining import ExaminedReel
    from assembler.aligner.findings import PlacedPass
    from assembler.arrays import Int32s

TIE_SECONDS = 0.02
"""How far a reel may be moved: what two timecode logs may be off against each other."""


@dataclass(frozen=True)
class _Timeline:
    """A stretch of some tracks of a placed pass, read by position within the stretch."""

    one: PlacedPass
    chosen: tuple[int, ...]
    start: int
    length: int

    @property
    def tracks(self) -> int:
        return len(self.chosen)

    def read(self, track: int, start: int, count: int) -> Int32s:
        return self.one.samples(self.chosen[track], self.start + start, self.start + start + count)


def tie_reels(reels: Sequence[ExaminedReel], sample_rate: int) -> list[ExaminedReel]:
    """Return the reels in order, each moved to where its sound agrees with an earlier one of the same tracks."""
    tied: list[ExaminedReel] = []
    for reel in reels:
        for earlier in tied:
            found = _agreement(earlier, reel, round(TIE_SECONDS * sample_rate))
            if found is not None:
                reel = _tied(reel, earlier, *found)  # noqa: PLW2901 - the tied reel stands for it from here on
                break
        tied.append(reel)
    return tied


def _agreement(
    earlier: ExaminedReel, later: ExaminedReel, radius: int
) -> tuple[int, PlacedPass, PlacedPass] | None:
    """Return by how much the later reel has to be moved, and the passes that show it; None where nothing does."""
    shared = [name for name in earlier.reel.tracks if name and name in later.reel.tracks]
    if not shared:
        return None
    first_tracks = tuple(earlier.reel.tracks.index(name) for name in shared)
    second_tracks = tuple(later.reel.tracks.index(name) for name in shared)
    for first in earlier.passes:
        for second in later.passes:
            both = common(first.covered(first_tracks[0]), second.covered(second_tracks[0]))
            if not both or both[0][1] - both[0][0] < ANCHOR_SAMPLES:
                continue
            start, length = both[0][0], both[0][1] - both[0][0]
            reference = _Timeline(first, first_tracks, start, length)
            probe = _Timeline(second, second_tracks, start, length)
            relation = relate(reference, probe, lambda _: 0, (0, length), radius)
            if relation is not None:
                return relation.stretches[0].shift, first, second
    return None


def _tied(
    reel: ExaminedReel, earlier: ExaminedReel, shift: int, first: PlacedPass, second: PlacedPass
) -> ExaminedReel:
    moved = reel.moved(shift)
    old = moved.groups[second.name]
    groups = {
        name: earlier.groups[first.name] if group == old else group for name, group in moved.groups.items()
    }
    text = (
        f"reel {reel.name} holds the same sound as reel {earlier.name} where they overlap ({second.name} and "
        f"{first.name}); it is moved by {shift:+d} samples to where they are identical"
    )
    return replace(moved, groups=groups, notes=(*moved.notes, Note("other", text, pass_name=second.name)))
