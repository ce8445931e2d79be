"""Levels and lines of a track that sounds, each too long for one lost sample and too short for a stop, again and again.

A machine that lost most of what it read holds the little it has, or draws lines through it, and lets two good samples
or more through between any two. Sound that is straight by nature goes from one line to the next.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import REACH
from assembler.aligner.events.strewn.bends import in_windows
from assembler.aligner.records.limits import LEAST_STEPS, WINDOW_SAMPLES
from assembler.aligner.records.ranges import ranges_of

if TYPE_CHECKING:
    from assembler.aligner.sound.glance import Glance
    from assembler.arrays import Bools, Float64s, Int32s, Int64s


def short_runs(glance: Glance, step: int) -> Float64s:
    """Return how many levels and lines each window of a track holds, shape ``(windows,)``.

    Args:
        glance: at its samples.
        step: one step of the tape's word length.
    """
    size = glance.samples.size // WINDOW_SAMPLES * WINDOW_SAMPLES
    count = np.zeros(size // WINDOW_SAMPLES)
    for order, is_run in ((1, glance.still[:size]), (2, glance.near[:size] & ~glance.still[:size])):
        # A run of so many samples holds a whole word of four wherever it begins, and sound has hardly any.
        if (is_run.view(np.uint32) == 0x01010101).any():
            count += np.bincount(
                _runs(glance.samples, is_run, order, step) // WINDOW_SAMPLES, minlength=count.size
            )
    return in_windows(count)


def _runs(samples: Int32s, is_run: Bools, order: int, step: int) -> Int64s:
    """Return where levels, or lines, of a machine begin: those that sound breaks at both ends, each kind of them once.

    An instrument comes back to a level, or a slope; what a machine conceals with is another one each time.
    """
    first, behind = np.array(ranges_of(is_run, least=2 * REACH - 1), np.int64).reshape(-1, 2).T
    first, behind = (at[(first > 1) & (behind < is_run.size - 1)] for at in (first, behind))
    breaks = (np.diff(samples[np.arange(-1, order) + at[:, None]], order)[:, 0] for at in (first - 1, behind))
    breaking = np.minimum(*(np.abs(own) for own in breaks)) >= LEAST_STEPS * step
    machines = breaking & ~is_run[first - 2] & ~is_run[behind + 1]
    slopes = (samples[behind - 1] - samples[first]) / (behind - 1 - first)
    kinds = samples[first] if order == 1 else np.rint(slopes / step)
    _, once = np.unique(kinds[machines], return_index=True)
    return np.asarray(first[machines][once], np.int64)
