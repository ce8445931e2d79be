"""Which samples of a capture are what concealment puts in the place of a lost one: a mean, or the last value held.

Published rule of concealment (US patent 4,641,309, 1987; J. Watkinson, The Art of Digital Audio): one missing sample
between two good ones becomes their mean; of several in a row all but the last hold the last good one, and the last is
the mean of what is held and the next good one. So each sample that was put in is its neighbours' mean, or its
predecessor again. Halves are rounded one way by one machine.

Audio is ``int64``, in sample values, shape ``(samples,)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import LEAST_TALLY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Bools, Int64s

DOWN, UP, TOWARDS_ZERO = 0, 1, 2
ROUNDINGS = (DOWN, UP, TOWARDS_ZERO)


@dataclass(frozen=True)
class Marks:
    """What each sample may be, by its neighbours in the same capture.

    Args:
        mean: whether it is the mean of its neighbours, shape (samples,).
        held: whether it is its predecessor again, shape (samples,).
    """

    mean: Bools
    held: Bools

    @property
    def explained(self) -> Bools:
        """Whether concealment may have put it there."""
        return self.mean | self.held


def marks_of(samples: Int64s, step: int, roundings: Sequence[int] = ROUNDINGS) -> Marks:
    """Return what each sample may be; the first and the last have too few neighbours to be anything.

    Args:
        samples: one capture.
        step: one step of the tape's word length, in sample values: means are rounded to it.
        roundings: the ways in which its machine may round.
    """
    mean, held = np.zeros(samples.size, np.bool_), np.zeros(samples.size, np.bool_)
    inner, sums = samples[1:-1], samples[:-2] + samples[2:]
    for rounding in roundings:
        mean[1:-1] |= inner == rounded_half(sums, step, rounding)
    held[1:] = samples[1:] == samples[:-1]
    return Marks(mean, held)


def rounded_half(sums: Int64s, step: int, rounding: int) -> Int64s:
    """Return half of each sum, in whole steps, rounded one way."""
    down = sums // (2 * step) * step
    if rounding == DOWN:
        return down
    up = -(-sums // (2 * step)) * step
    return up if rounding == UP else np.where(sums > 0, down, up)


def tally_roundings(samples: Int64s, at: Int64s, step: int) -> Int64s:
    """Return how many samples are means by each way of rounding, where the ways differ, shape (3,).

    Args:
        samples: one capture.
        at: positions to look at, each with a sample on either side.
        step: one step of the tape's word length.
    """
    sums = samples[at - 1] + samples[at + 1]
    ways = [rounded_half(sums, step, rounding) for rounding in ROUNDINGS]
    differ = ways[DOWN] != ways[UP]
    return np.array([np.count_nonzero(differ & (samples[at] == way)) for way in ways], np.int64)


def likely_roundings(tally: Int64s) -> tuple[int, ...]:
    """Return the way in which a machine rounds by what was counted; all of them where too little was."""
    best = int(tally.argmax())
    return (best,) if tally[best] >= LEAST_TALLY else ROUNDINGS
