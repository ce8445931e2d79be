"""Levels of a track that sounds, each too long for one lost sample and too short for a standstill, again and again.

A machine that lost most of what it read holds the little it has, and lets two good samples or more through between any
two levels. Sound that holds levels by nature goes from one straight to the next.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import LEAST_MOVING, REACH
from assembler.aligner.events.strewn.bends import in_windows
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.limits import WINDOW_SAMPLES

if TYPE_CHECKING:
    from assembler.aligner.sound.glance import Glance
    from assembler.arrays import Float64s


def short_levels(glance: Glance, step: int) -> Float64s:
    """Return how many such levels each window of a track holds, shape ``(windows,)``.

    Args:
        glance: at its samples.
        step: one step of the tape's word length.
    """
    size = glance.samples.size // WINDOW_SAMPLES * WINDOW_SAMPLES
    still = glance.still[:size]
    count = np.zeros(size // WINDOW_SAMPLES)
    # A level of so many samples holds a whole word of four wherever it begins, and sound has hardly any.
    if (still.view(np.uint32) == 0x01010101).any():
        runs = np.array(ranges_of(still, least=2 * REACH - 1), np.int64).reshape(-1, 2)
        first, behind = runs[(runs[:, 0] > 1) & (runs[:, 1] < size - 1)].T
        level = glance.samples[first]
        jumps = (glance.samples[at] - level for at in (first - 2, behind))
        jumping = np.minimum(*(np.abs(jump) for jump in jumps)) >= LEAST_MOVING * step
        machines = jumping & ~still[first - 2] & ~still[behind + 1]
        count += np.bincount(first[machines] // WINDOW_SAMPLES, minlength=count.size)
    return in_windows(count)
