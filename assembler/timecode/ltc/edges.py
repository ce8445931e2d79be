"""Where a stripe changes its level, to a fraction of a sample.

What is slower than the code (offset, hum, thumps) is taken off by a short moving average, what is faster by a short
smoothing that leaves the middle of a straight edge where it is. The level is *high* or *low* once it passes a share of
the loudness around it, so the code may be of any level, and noise around zero makes no edges. Between the last
sample of one state and the first of the other, the edge is where the line between samples crosses zero.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.ltc.word import WORD_BITS

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int64s
    from assembler.timecode.rates import FrameRate

# Lengths in bit cells at play speed. The average spans enough cells to follow hum and not the code; smoothing
# spans half of the shortest half cell there may be, at twice the speed.
_OFFSET_CELLS: Final = 12.0
_SMOOTH_CELLS: Final = 0.14
# Loudness is that of a frame: a dropout of a few milliseconds hardly lowers it.
_LOUDNESS_CELLS: Final = 80.0
# A state counts past this share of the loudness. A tenth lets noise through, a half loses weak ones at twice the
# speed: scripts/bench/ltc_speed.py shows how much noise is borne.
_STATE_SHARE: Final = 0.3


def find_edges(samples: Float64s, sample_rate: int, rate: FrameRate) -> Float64s:
    """Return the places of edges, shape (edges,), in samples from the first; each rises if the one before it falls.

    Args:
        samples: shape (n,), any scale, any offset.
        sample_rate: samples in a second.
        rate: how the stripe was made; its speed may be half to twice that.
    """
    if samples.size == 0:
        return np.zeros(0)
    import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

    cell = sample_rate / (WORD_BITS * float(rate.exact))
    level = _smooth(
        samples - scipy.ndimage.uniform_filter1d(samples, _odd(_OFFSET_CELLS * cell), mode="nearest"), cell
    )
    power = level * level
    loudness = scipy.ndimage.uniform_filter1d(power, _odd(_LOUDNESS_CELLS * cell), mode="nearest")
    sure = np.flatnonzero(power > _STATE_SHARE**2 * loudness)
    high = level[sure] > 0
    changes = np.flatnonzero(high[1:] != high[:-1])
    return _cross_zero(level, sure[changes], sure[changes + 1])


def _smooth(level: Float64s, cell: float) -> Float64s:
    import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

    width = _odd(_SMOOTH_CELLS * cell)
    return scipy.ndimage.uniform_filter1d(
        scipy.ndimage.uniform_filter1d(level, width, mode="nearest"), width, mode="nearest"
    )


def _odd(length: float) -> int:
    """Return the odd whole number nearest to a length: what is centred on a sample."""
    return 2 * int(length / 2) + 1


def _cross_zero(level: Float64s, before: Int64s, after: Int64s) -> Float64s:
    """Return where the level crosses zero between two samples of different sign.

    Noise may make it cross several times: then the middle of the first and the last is taken, which is the same
    whether the stripe is read forwards or backwards.
    """
    high = level > 0
    crossings = np.flatnonzero(high[1:] != high[:-1])
    first = crossings[np.searchsorted(crossings, before)]
    last = crossings[np.searchsorted(crossings, after) - 1]
    return np.asarray(0.5 * (_interpolate(level, first) + _interpolate(level, last)), dtype=np.float64)


def _interpolate(level: Float64s, index: Int64s) -> Float64s:
    return np.asarray(index + level[index] / (level[index] - level[index + 1]), dtype=np.float64)
