"""What a track is that holds none of the reference's numbers at its place: changed, exchanged, moved, or strange.

A track that runs along with its own reference track, at another level or with noise added, is no stranger: its chain
changes numbers, and comparing passes tells so. All others are left out; what they look like is reported.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.aligner.place.anchors import spread
from assembler.aligner.place.limits import PLACES
from assembler.aligner.records.limits import NEARLY_ALL
from assembler.aligner.sound.chain.change import find_change
from assembler.aligner.sound.chain.measures import find_delay
from assembler.aligner.sound.limits import PIECE_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.sound.chain.change import Change
    from assembler.arrays import Int32s


@dataclass(frozen=True)
class Stranger:
    """What a track looks like that is not what it should be.

    Args:
        track: of the probe pass.
        reference_track: what it runs along with; None where it is like nothing.
        delay: samples that it lies later than the other tracks.
        change: what became of the numbers; None where it is like nothing.
    """

    track: int
    reference_track: int | None = None
    delay: int = 0
    change: Change | None = None

    @property
    def is_in_place(self) -> bool:
        """Return whether it runs along, upright, with the very track it should be."""
        return (
            self.reference_track == self.track
            and not self.delay
            and self.change is not None
            and self.change.correlation > 0
        )


def recognise(
    reference: TrackReader,
    probe: TrackReader,
    places: Sequence[tuple[int, int]],
    track: int,
    *,
    step: int,
    reach: int,
) -> Stranger:
    """Return what a track of a pass looks like whose other tracks are in their place.

    It is looked for within ``reach`` samples of its place.
    """
    chosen = spread(places, PLACES)
    others = [other for other in range(reference.tracks) if other != track]
    for other in (track, *others):
        change = find_change(_pieces(reference, probe, chosen, (other, track), 0), step)
        if change is not None and change.is_alike:
            return Stranger(track, other, 0, change)
    delay = _delay(reference, probe, chosen, track, reach)
    if delay is not None:
        change = find_change(_pieces(reference, probe, chosen, (track, track), delay), step)
        if change is not None and change.is_alike:
            return Stranger(track, track, delay, change)
    return Stranger(track)


def _pieces(
    reference: TrackReader,
    probe: TrackReader,
    places: Sequence[tuple[int, int]],
    tracks: tuple[int, int],
    delay: int,
) -> list[tuple[Int32s, Int32s]]:
    """Return the same place in both passes; nothing where one of them does not reach so far."""
    pieces = []
    for at, shift in places:
        there = at + shift - delay
        room = min(probe.length - at, reference.length - there)
        start = at + min(0, room - PIECE_SAMPLES)
        if start >= 0 and start + shift - delay >= 0:
            first = reference.read(tracks[0], start + shift - delay, PIECE_SAMPLES)
            pieces.append((first, probe.read(tracks[1], start, PIECE_SAMPLES)))
    return pieces


def _delay(
    reference: TrackReader, probe: TrackReader, places: Sequence[tuple[int, int]], track: int, reach: int
) -> int | None:
    """Return how much later than its place a track lies; None where it is not found within reach."""
    found = []
    for at, shift in places:
        piece = probe.read(track, at, PIECE_SAMPLES)
        if piece.any():
            window = reference.read(track, at + shift - reach, PIECE_SAMPLES + 2 * reach)
            where, alike = find_delay(window, piece)
            found.append((abs(alike), reach - where))
    best = max(found, default=(0.0, 0))
    return best[1] if best[0] >= NEARLY_ALL else None
