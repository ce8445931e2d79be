"""How often a track of sound stays where it is, or bends by a step at most, in windows; and how often chance lets it.

Only what lies amid greater changes, or bends, says anything: there it is seldom by nature.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import REACH
from assembler.aligner.records.limits import LEAST_STEPS, WINDOW_SAMPLES
from assembler.aligner.sound.limits import NOISE_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.aligner.sound.glance import Glance
    from assembler.arrays import Bools, Float64s, Int32s, Int64s

    Offset = Callable[[int], Int32s]


PIECES = NOISE_SAMPLES // WINDOW_SAMPLES
"""What is counted in pieces is looked at in windows of so many of them."""


@dataclass(frozen=True)
class Small:
    """What a track's windows hold of levels held, or of bends of a step at most.

    Args:
        by_sign: by whether sound falls or rises there, whether it is up to zero or above it, and whether they are of a
            step downwards, of nothing or of a step upwards; shape (2, 2, 3, windows).
        moving: of ``by_sign``, those with greater ones on both sides, and no clipped peak.
        foretold: how many of any one size are to be expected among great ones; shape (windows,).
    """

    by_sign: Float64s
    moving: Float64s
    foretold: Float64s


def small_levels(glance: Glance, step: int) -> Small:
    """Return what the windows of a track hold of levels held.

    Args:
        glance: at its samples, of whole pieces.
        step: one step of the tape's word length.
    """
    return _small(glance.samples, glance.still, _change, step)


def small_bends(glance: Glance, step: int) -> Small:
    """Return the same of bends of a step at most."""
    return _small(glance.samples, glance.near, _bend, step)


def counts_amid(marked: Bools, size: int) -> tuple[Float64s, Float64s]:
    """Return how many marked samples each window holds, and of how many it may be that greater ones are on both sides.

    Args:
        marked: which samples are still, or bend by a step at most.
        size: samples, of whole pieces.
    """
    at = np.flatnonzero(marked[:size])
    inner = at[(at >= 3) & (at < size - 3)]
    amid = ~(marked[inner - 3] & marked[inner - 2]) & ~(marked[inner + 2] & marked[inner + 3])
    return _counts(at, size), _counts(inner[amid], size)


def _counts(at: Int64s, size: int) -> Float64s:
    return in_windows(np.bincount(at // WINDOW_SAMPLES, minlength=size // WINDOW_SAMPLES).astype(np.float64))


def _small(samples: Int32s, marked: Bools, value: Callable[[Offset], Int32s], step: int) -> Small:
    count = samples.size // WINDOW_SAMPLES
    samples = samples[: count * WINDOW_SAMPLES]
    at = np.flatnonzero(marked[REACH : samples.size - REACH]) + REACH

    def beside(offset: int) -> Int32s:
        return samples[at + offset]

    def thinned(offset: int) -> Int32s:
        # It is a mean that is asked for: every fourth sample tells.
        return samples[REACH + offset : samples.size - REACH + offset : REACH]

    own = beside(0)
    # Clipped peaks are no levels held.
    moving = (_around(value, beside) >= LEAST_STEPS * step) & (own != samples.max()) & (own != samples.min())
    sign = np.sign(value(beside)) + 1 + 3 * (own > 0) + 6 * (_change(beside) > 0)
    pieces = at // WINDOW_SAMPLES
    return Small(
        _by_sign(pieces, sign, count),
        _by_sign(pieces[moving], sign[moving], count),
        _foretold(_around(value, thinned), step, count),
    )


def _change(own: Offset) -> Int32s:
    return own(0) - own(-1)


def _bend(own: Offset) -> Int32s:
    return own(1) - 2 * own(0) + own(-1)


def _around(value: Callable[[Offset], Int32s], own: Offset) -> Int32s:
    """Return how large values are on both sides; beside a lost sample those of its neighbours are spoilt, too."""

    def size(away: int) -> Int32s:
        return np.abs(value(lambda offset: own(away + offset)))

    return np.minimum(np.maximum(size(-3), size(-2)), np.maximum(size(2), size(3)))


def _by_sign(pieces: Int64s, sign: Int32s, count: int) -> Float64s:
    counts = np.bincount(pieces * 12 + sign, minlength=12 * count).reshape(count, 2, 2, 3)
    return np.moveaxis(in_windows(counts.astype(np.float64)), 0, -1)


def _foretold(around: Int32s, step: int, count: int) -> Float64s:
    """Return how many samples of each window have any one small size by chance, of those amid great ones."""
    chance = np.zeros(count * WINDOW_SAMPLES // REACH, np.float32)
    np.reciprocal(np.maximum(around, 1), dtype=np.float32, out=chance[1:-1])
    chance[1:-1] *= around >= LEAST_STEPS * step
    pieces = chance.reshape(count, -1).sum(axis=1, dtype=np.float64)
    return in_windows(0.5 * step * REACH * pieces)


def in_windows(pieces: Float64s) -> Float64s:
    """Return what windows hold of what is counted in pieces, each a piece on from the one before."""
    ends = len(pieces) - PIECES + 1
    return np.asarray(sum(pieces[first : first + ends] for first in range(PIECES)), np.float64)
