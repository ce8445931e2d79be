"""A bit of the words that stays as it is while the bits above and below it move: an interface or a recorder does that.

Each value that the bits above take has the bit set or not, as it comes: that it is the same for all of them is unlikely
by a half for each. A wave of a few levels, and sound of a coarser step, say little that way.

Positions count from the array's first sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import STUCK_NATS
from assembler.aligner.records.limits import LEAST_TELLING
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.limits import WINDOW_SAMPLES
from assembler.arrays import distinct

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s, Int64s


def stuck_bits(samples: Int32s) -> list[tuple[Range, float]]:
    """Return from which sample to which a bit is stuck, and how unlikely that is, in nats."""
    pieces = samples[: samples.size // WINDOW_SAMPLES * WINDOW_SAMPLES].reshape(-1, WINDOW_SAMPLES)
    # A few samples of each piece tell where it is worth looking at all.
    worth = np.flatnonzero(_between(pieces[:, :: WINDOW_SAMPLES // LEAST_TELLING]))
    if not worth.size:
        return []
    constant = np.zeros(len(pieces), np.int64)
    constant[worth] = _between(pieces[worth])
    bits = int(np.bitwise_or.reduce(constant))
    return sorted(
        found
        for bit in range(bits.bit_length())
        if bits >> bit & 1
        for found in _stuck(samples, constant, bit)
    )


def _between(pieces: Int32s) -> Int64s:
    """Return for each piece the bits that are the same in all its samples, with some above and below that are not."""
    # Piece beside piece, the samples of all are taken together a row at a time.
    rows = np.ascontiguousarray(pieces.T).view(np.uint32)
    same = np.bitwise_and.reduce(rows, axis=0)
    moving = np.bitwise_or.reduce(rows, axis=0) & ~same
    above = moving
    for shift in (1, 2, 4, 8, 16):
        above = above | above >> shift
    below = moving & -moving
    return np.where(moving > 0, above & ~moving & ~(below - 1), 0).astype(np.int64)


def _stuck(samples: Int32s, constant: Int64s, bit: int) -> list[tuple[Range, float]]:
    found: list[tuple[Range, float]] = []
    for first, last in ranges_of(constant >> bit & 1 > 0):
        part = samples[first * WINDOW_SAMPLES : last * WINDOW_SAMPLES]
        nats = sum(
            float(np.log(2.0)) * (distinct(piece >> (bit + 1)).size - 1)
            for piece in part.reshape(-1, WINDOW_SAMPLES)
        )
        if nats >= STUCK_NATS:
            own = samples >> bit & 1 != part[0] >> bit & 1
            before, behind = own[: first * WINDOW_SAMPLES][::-1], own[last * WINDOW_SAMPLES :]
            start = first * WINDOW_SAMPLES - (int(before.argmax()) if before.any() else before.size)
            end = last * WINDOW_SAMPLES + (int(behind.argmax()) if behind.any() else behind.size)
            found.append(((start, end), nats))
    return found
