"""Where two captures that run along are held against each other to tell what lies between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.records.ranges import common
from assembler.aligner.sound.limits import MOST_PIECES, PIECE_SAMPLES

if TYPE_CHECKING:
    from assembler.aligner.records.passes import PlacedPass
    from assembler.arrays import Int32s


def pieces_of_both(first: PlacedPass, second: PlacedPass, track: int) -> list[tuple[Int32s, Int32s]]:
    """Return the same places of a track of both, spread over what they share; each lies in one stretch of either."""
    both = [
        (low, high)
        for low, high in common(first.covered(track), second.covered(track))
        if high - low >= PIECE_SAMPLES
    ]
    every = max(PIECE_SAMPLES, sum(high - low for low, high in both) // MOST_PIECES)
    return [
        (first.samples(track, at, at + PIECE_SAMPLES), second.samples(track, at, at + PIECE_SAMPLES))
        for low, high in both
        for at in range(low, high - PIECE_SAMPLES + 1, every)
    ]
