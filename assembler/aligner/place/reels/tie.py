"""Reels that follow one another on the same tracks, tied together by their sound where they overlap.

Timecode places a reel to a few samples. Where a reel change was recorded on two machines from one digital source,
both tapes hold the same numbers for a while: then the later reel is moved to where they are identical, and the join
costs nothing. Where the sound does not agree the reels stay where their timecode puts them and are joined by a fade.
Reels that follow each other within what their timecode can tell touch: a hole or an overlap of a sample or two is none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.aligner.place.agreement import belongs
from assembler.aligner.place.limits import ANCHOR_SAMPLES, MOST_TOUCH_SECONDS, SEARCH_SECONDS
from assembler.aligner.place.relation import relate
from assembler.aligner.records.ranges import common, merged, total
from assembler.aligner.sound.limits import SURE_DEVIATIONS
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.arrays import Int32s
    from assembler.importer import Position


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
            found = _agreement(earlier, reel, round(SEARCH_SECONDS[0] * sample_rate))
            if found is not None:
                tied.append(_tied(reel, earlier, *found))
                break
        else:
            notes = (_side_by_side(earlier, reel, sample_rate) for earlier in tied)
            asking = tuple(note for note in notes if note is not None)
            moved = _touching(tied, reel, sample_rate)
            tied.append(replace(moved, notes=(*moved.notes, *asking)))
    return tied


def _side_by_side(earlier: ExaminedReel, reel: ExaminedReel, sample_rate: int) -> Note | None:
    """Return a question where two reels of one track run beside each other for longer than one of them runs alone.

    A track has one sound at a time: reels that follow one another overlap a little, machines in sync all along.
    """
    pieces = [merged(piece for piece, _ in _pieces(*pair)) for pair in ((earlier, reel), (reel, earlier))]
    both = total(common(*pieces))
    if both <= min(map(total, pieces)) - both:
        return None
    names = [name for name in earlier.reel.tracks if name and name in reel.reel.tracks]
    text = (
        f"reels {earlier.name} and {reel.name} both name {', '.join(names)}, and run side by side for "
        f"{both / sample_rate:.1f} s with other sound: of that a track of the set can hold one reel alone, "
        f"{earlier.name}'s where it is right. If they are other tracks, give them names of their own in the sheet; "
        "if they are one tape, make their passes those of one reel"
    )
    return Note("undecided", text)


def _touching(others: Sequence[ExaminedReel], reel: ExaminedReel, sample_rate: int) -> ExaminedReel:
    """Return the reel, moved so that it touches another one of the same tracks if by timecode it may."""
    for other in others:
        for first, second, is_after in ((other, reel, True), (reel, other, False)):
            found = _hole(first, second)
            if found is None or found[0] == 0:
                continue
            hole, doubt = found
            if abs(hole) <= min(doubt, MOST_TOUCH_SECONDS * sample_rate):
                return _touched(reel, other, -hole if is_after else hole, doubt)
    return reel


def _hole(first: ExaminedReel, second: ExaminedReel) -> tuple[int, float] | None:
    """Return the samples between the end of a reel and the beginning of another, and by how much they may be off.

    None where they share no track, or a place is not by timecode.
    """
    pieces = [_pieces(reel, other) for reel, other in ((first, second), (second, first))]
    if not all(pieces):
        return None
    (_, end), last = max(pieces[0], key=lambda piece: piece[0][1])
    (start, _), following = min(pieces[1], key=lambda piece: piece[0][0])
    apart = [place.apart_samples for place in (last, following)]
    if apart[0] is None or apart[1] is None:
        return None
    # Each place is a whole sample.
    return start - end, SURE_DEVIATIONS * math.hypot(apart[0], apart[1]) + 1.0


def _pieces(reel: ExaminedReel, other: ExaminedReel) -> list[tuple[Range, Position]]:
    """Return what a reel holds of the tracks it shares with another, each piece with its pass's place."""
    tracks = [index for index, name in enumerate(reel.reel.tracks) if name and name in other.reel.tracks]
    places = {one.name: one.position for one in reel.wired.passes}
    return [
        (piece, places[one.name]) for one in reel.passes for track in tracks for piece in one.covered(track)
    ]


def _touched(reel: ExaminedReel, other: ExaminedReel, shift: int, doubt: float) -> ExaminedReel:
    text = (
        f"reel {reel.name} is moved by {shift:+d} {'sample' if abs(shift) == 1 else 'samples'} so that it touches reel "
        f"{other.name}: timecode tells their places to {doubt:.1f} samples either way, too little to tell them apart"
    )
    return replace(reel.moved(shift), notes=(*reel.notes, Note("other", text)))


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
            if relation is not None and belongs(reference, probe, relation.places, lambda _: 0, radius):
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
