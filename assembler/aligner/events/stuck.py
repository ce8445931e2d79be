"""A bit of the words that stays as it is while the bits above and below it move: an interface or a recorder does that.

Each value that the bits above take has the bit set or not, as it comes: that it is the same for all of them is unlikely
by a half for each. A wave that comes back to the same few levels says that once, with hiss on them, too; sound that
fills half of the room below the bit says it anew each time. Another pass, that differs by this bit alone, says it of
each sample that does.

Positions count from the array's first sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import FEW, HALF, LEAST_TELLING, SURE_NATS, WINDOW_SAMPLES
from assembler.aligner.records.ranges import ranges_of
from assembler.arrays import distinct

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s, Int64s


def stuck_bits(samples: Int32s) -> list[tuple[Range, float]]:
    """Return from which sample to which a bit is stuck, and how unlikely that is, in nats."""
    pieces = _pieces_of(samples)
    # A few samples of each piece tell where it is worth looking at all.
    worth = np.flatnonzero(_between(pieces[:, :: WINDOW_SAMPLES // LEAST_TELLING]))
    constant = np.zeros(len(pieces), np.int64)
    constant[worth] = _between(pieces[worth])
    return _stuck(samples, constant, lambda bit, of: _doublings(pieces[of], bit))


def stuck_beside(samples: Int32s, others: Sequence[Int32s]) -> list[tuple[Range, float]]:
    """Return the same where much of what differs from all other passes does by that bit alone; the rest was lost.

    The others have to hold the same, and to be smoother: a bit that is stuck where it should move breaks the sound.
    """
    pieces = _pieces_of(samples)
    if not others or any(other is samples for other in others):
        return []
    theirs = [_pieces_of(other) for other in others]
    apart = pieces ^ theirs[0]
    alike = [(other == theirs[0]).all(axis=1) for other in theirs[1:]]
    rougher = _roughness(pieces) > _roughness(theirs[0])
    worth = np.flatnonzero(np.all([apart.any(axis=1), rougher, *alike], axis=0))
    between = _between(pieces[worth])
    few = np.count_nonzero(apart[worth], axis=1) * FEW
    constant = np.zeros(len(pieces), np.int64)
    for bit in _bits_of(between):
        moved = np.count_nonzero(apart[worth] == 1 << bit, axis=1) > few
        constant[worth] |= between & np.where(moved, 1 << bit, 0)
    return _stuck(samples, constant, lambda bit, of: int(np.count_nonzero(apart[of] == 1 << bit)))


def _bits_of(words: Int64s) -> list[int]:
    """Return the bits that are set in any of some words."""
    bits = int(np.bitwise_or.reduce(words, initial=0))
    return [bit for bit in range(bits.bit_length()) if bits >> bit & 1]


def _doublings(pieces: Int32s, bit: int) -> int:
    """Return how many values above a bit tell that it is constant: no more than places where the sound breaks."""
    filled = 0
    for own in pieces:
        values, which = np.unique(own >> (bit + 1), return_inverse=True)
        below = own & (1 << bit) - 1
        lowest, highest = np.full(values.size, 1 << bit, np.int64), np.zeros(values.size, np.int64)
        np.minimum.at(lowest, which, below)
        np.maximum.at(highest, which, below)
        rooms = int((highest - lowest >= HALF * (1 << bit)).sum())
        # A wave of two levels has two at most, however loud its hiss.
        filled += rooms - 1 if rooms > 2 else 0
    # A bit that should move breaks the sound; a steady climb may keep one as it is, whatever it passes.
    broken = int((np.abs(np.diff(pieces.astype(np.int64), 2, axis=1)) >= HALF * (1 << bit)).sum())
    return min(broken, max(distinct(pieces >> (bit + 1)).size - 1, filled))


def _roughness(pieces: Int32s) -> Int64s:
    return np.asarray(np.abs(np.diff(pieces, axis=1)).sum(axis=1, dtype=np.int64), np.int64)


def _pieces_of(samples: Int32s) -> Int32s:
    return samples[: samples.size // WINDOW_SAMPLES * WINDOW_SAMPLES].reshape(-1, WINDOW_SAMPLES)


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


def _stuck(
    samples: Int32s, constant: Int64s, doublings: Callable[[int, slice], float]
) -> list[tuple[Range, float]]:
    """Return where a bit is constant in pieces, if that is unlikely: by a half for each of so many ``doublings``."""
    found: list[tuple[Range, float]] = []
    for bit in _bits_of(constant):
        for first, last in ranges_of(constant >> bit & 1 > 0):
            nats = float(np.log(2.0)) * doublings(bit, slice(first, last))
            if nats >= SURE_NATS:
                inside = slice(first * WINDOW_SAMPLES, last * WINDOW_SAMPLES)
                own = samples >> bit & 1 != samples[inside.start] >> bit & 1
                before, behind = own[: inside.start][::-1], own[inside.stop :]
                start = inside.start - (int(before.argmax()) if before.any() else before.size)
                end = inside.stop + (int(behind.argmax()) if behind.any() else behind.size)
                found.append(((start, end), nats))
    return sorted(found)
