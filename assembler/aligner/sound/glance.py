"""What one look at a block can rule out, so that the rules that look closely need not: exact bounds, nothing decided.

Levels and lines are made of samples that stay where they are, or bend by a step at most: nearly all sound has few of
either. Eight samples are looked at as one word, so that a block of sound that moves all the time is done with in a few
operations on arrays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.ranges import has_full_word

if TYPE_CHECKING:
    from assembler.arrays import Bools, Int32s


class Glance:
    """What one look at samples tells.

    Args:
        samples: shape (samples,), of 24 bits at most.
        step: one step of the tape's word length.

    Attributes:
        samples: what was looked at.
        still: which equal their predecessor, and more at the end.
        near: which bend by a step at most, and more at the end.
        has_level: whether 15 samples or more in a row may equal their predecessor.
        has_line: whether 15 samples or more in a row may bend by a step at most.
    """

    def __init__(self, samples: Int32s, step: int) -> None:
        self.samples = samples
        size = samples.size
        self.still, self.near = (np.zeros(-(-size // 8) * 8, np.bool_) for _ in range(2))
        if size > 2:
            change = samples[1:] - samples[:-1]
            np.equal(change, 0, out=self.still[1:size])
            bend = change[1:] - change[:-1]
            bend += np.int32(step)
            # One comparison for both sides: as an unsigned number what lies below is large.
            np.less_equal(bend.view(np.uint32), np.uint32(2 * step), out=self.near[1 : size - 1])
        # What lies beyond the ends is not known.
        self.still[:1] = self.near[:1] = self.near[max(0, size - 1) : size] = True
        self.has_level = has_full_word(self.still)
        self.has_line = has_full_word(self.near)


def far_apart(stretches: Int32s, least: int) -> Bools:
    """Return in which stretches samples lie at least so far apart; a few samples of each mostly tell.

    Args:
        stretches: shape (stretches, samples).
        least: largest less smallest.
    """
    few = np.ascontiguousarray(stretches[:, ::32].T)
    apart: Bools = few.max(axis=0) - few.min(axis=0) >= least
    left = np.flatnonzero(~apart)
    apart[left] = np.ptp(stretches[left], axis=1) >= least
    return apart
