"""How late messages come, and where a block of them would have come had none been late.

A message is never early. It is late by something between nothing and a *width* that belongs to the interface, a few
stragglers by much more; then its time is rounded to the log's tick. So the likelihood of a deviation is a box of that
width, smeared by a box of one tick, over a broad background that lets strays count for little. The *onset* of a block,
where the box begins, is the time of a message that came at once. Its posterior mean and deviation (flat prior)
use whatever the log offers: the sharp edges of the box where ticks are fine, how often each tick occurs where they
are coarse. A mean would move with the width, a least value with the first stray.

Deviations, onsets, widths and ticks are in seconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s

# Share of messages that may lie anywhere; see scripts/bench/clock_accuracy.py for what it does to accuracy.
_STRAY_SHARE: Final = 0.005
# Exact times still have the edges of their box smeared a little, since no fitted line is exact.
_LEAST_TICK_SHARE: Final = 1 / 500
_LEAST_WIDTH: Final = 2e-6
_GRID: Final = 61
# A grid reaches this many deviations to each side once the posterior is roughly known.
_REACH: Final = 7.0
# Values of the likelihood held at once: bounds memory to some 30 MB for a log of any length.
_LARGEST_BATCH: Final = 1_000_000


@dataclass(frozen=True)
class Lateness:
    """The spread of lateness.

    Args:
        width: seconds between the promptest and the latest ordinary message.
        width_error: its standard deviation.
        tick: seconds, the step that times were rounded to.
    """

    width: float
    width_error: float
    tick: float


def log_likelihood(deviations: Float64s, onsets: Float64s, width: float | Float64s, tick: float) -> Float64s:
    """Return the log likelihood of each deviation under each onset; shapes are broadcast."""
    smear = np.maximum(tick, _LEAST_TICK_SHARE * width)
    start = np.maximum(deviations - smear / 2, onsets)
    end = np.minimum(deviations + smear / 2, onsets + width)
    box = np.maximum(end - start, 0.0) / (width * smear)
    breadth = np.maximum(width, tick)
    distance = (deviations - onsets - width / 2) / breadth
    strays = 1.0 / (np.pi * breadth * (1.0 + distance * distance))
    return np.asarray(np.log((1.0 - _STRAY_SHARE) * box + _STRAY_SHARE * strays), dtype=np.float64)


def fit_lateness(deviations: Float64s, tick: float) -> Lateness:
    """Return the spread of lateness.

    Args:
        deviations: shape (n,), at least two; any trend removed, the onset anywhere.
        tick: step of the log's clock.
    """
    low, high = np.quantile(deviations, [0.02, 0.95])
    width = max(float(high - low), _LEAST_WIDTH)
    onset, reach, width_reach = float(low), width / 2, width / 2
    values, counts = _condense(deviations, width / 2000)
    width_error = width
    for _ in range(5):
        onsets = np.linspace(onset - reach, onset + reach, _GRID)
        widths = np.linspace(max(width - width_reach, _LEAST_WIDTH / 4), width + width_reach, _GRID)
        posterior = _posterior_over(values, counts, onsets, widths, tick)
        over_onset, over_width = posterior.sum(axis=1), posterior.sum(axis=0)
        onset, onset_error = _moments(onsets, over_onset)
        width, width_error = _moments(widths, over_width)
        reach = max(_REACH * onset_error, _GRID * width * 1e-5)
        width_reach = max(_REACH * width_error, _GRID * width * 1e-5)
    return Lateness(width=width, width_error=width_error, tick=tick)


def _condense(deviations: Float64s, step: float) -> tuple[Float64s, Float64s]:
    """Return distinct deviations to within a step, and how often each occurs."""
    cells, counts = np.unique(np.rint(deviations / step), return_counts=True)
    return cells * step, counts.astype(np.float64)


def _posterior_over(
    values: Float64s, counts: Float64s, onsets: Float64s, widths: Float64s, tick: float
) -> Float64s:
    """Return the posterior on a grid, shape (onsets, widths), summing to one."""
    likelihood = np.empty((onsets.size, widths.size))
    for row, onset in enumerate(onsets):
        grid = log_likelihood(values[:, None], np.full((1, 1), onset), widths[None, :], tick)
        likelihood[row] = counts @ grid
    posterior = np.exp(likelihood - likelihood.max())
    return np.asarray(posterior / posterior.sum(), dtype=np.float64)


def _moments(grid: Float64s, weights: Float64s) -> tuple[float, float]:
    mean = float(weights @ grid / weights.sum())
    spread = float(weights @ (grid - mean) ** 2 / weights.sum())
    # A posterior narrower than the grid is known no better than the grid's step.
    return mean, float(np.sqrt(spread + (grid[1] - grid[0]) ** 2 / 12))


def locate_onsets(blocks: Float64s, lateness: Lateness) -> tuple[Float64s, Float64s]:
    """Return the onset of each block and its standard deviation.

    Args:
        blocks: shape (blocks, messages), deviations; NaN where a block is shorter than the others.
        lateness: the spread that all blocks share.

    Returns:
        Two arrays of shape (blocks,).
    """
    onsets = np.empty(blocks.shape[0])
    errors = np.empty(blocks.shape[0])
    batch = max(1, _LARGEST_BATCH // (_GRID * blocks.shape[1]))
    for start in range(0, blocks.shape[0], batch):
        part = slice(start, start + batch)
        onsets[part], errors[part] = _locate_batch(blocks[part], lateness)
    return onsets, errors


def _locate_batch(blocks: Float64s, lateness: Lateness) -> tuple[Float64s, Float64s]:
    breadth = lateness.width + lateness.tick
    messages = np.maximum(np.isfinite(blocks).sum(axis=1), 1)
    onsets = np.nanmedian(blocks, axis=1) - lateness.width / 2
    reach = breadth * np.minimum(2.5 / np.sqrt(messages), 1.0)
    errors = reach
    steps = np.linspace(-1.0, 1.0, _GRID)
    for _ in range(3):
        grid = onsets[:, None] + reach[:, None] * steps
        terms = log_likelihood(blocks[:, None, :], grid[:, :, None], lateness.width, lateness.tick)
        likelihood = np.nansum(terms, axis=2)
        weights = np.exp(likelihood - likelihood.max(axis=1, keepdims=True))
        weights /= weights.sum(axis=1, keepdims=True)
        onsets = (weights * grid).sum(axis=1)
        spread = (weights * (grid - onsets[:, None]) ** 2).sum(axis=1)
        errors = np.sqrt(spread + (grid[:, 1] - grid[:, 0]) ** 2 / 12)
        reach = _REACH * errors
    return onsets, errors
