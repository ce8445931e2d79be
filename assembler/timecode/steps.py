"""A straight line with steps: one slope, and a new height wherever something was lost or repeated.

Weighted least squares over blocks of messages. Steps are found one by one: the place where a step would explain most,
until none explains enough. A slow wander of the clock can look like steps; it is told apart since smooth curves then
explain more than a step does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int64s

# A step must explain this much of the sum of squares, in units of the noise. Chance alone reaches 25 or so among
# thousands of places; scripts/bench/clock_accuracy.py counts false steps in clean passes.
_LEAST_GAIN: Final = 45.0
# Blocks on each side of a step, and what a curve may have: powers 2 to 5.
_LEAST_BLOCKS: Final = 3
_CURVE_POWERS: Final = (2, 3, 4, 5)
# More steps than this, and one more for each so many blocks, are a clock that wanders.
_USUAL_STEPS: Final = 6
_BLOCKS_PER_STEP: Final = 120


@dataclass(frozen=True)
class Line:
    """Heights at time zero, one for each stretch, and the slope they share.

    Args:
        heights: shape (stretches,), seconds.
        slope: seconds per second.
        covariance: of heights, then slope; scaled by how far the blocks really scatter.
        scatter: how far blocks lie from the line, in their own standard deviations.
    """

    heights: Float64s
    slope: float
    covariance: Float64s
    scatter: float


def fit_line(times: Float64s, values: Float64s, errors: Float64s, groups: Int64s, *, sloped: bool) -> Line:
    """Return the line through blocks.

    Args:
        times: shape (blocks,), seconds.
        values: shape (blocks,), seconds.
        errors: shape (blocks,), standard deviation of each value.
        groups: shape (blocks,), which height each block has: 0, 1, 2 …
        sloped: whether to fit the slope; else it is zero.
    """
    # Centred times keep the sums well conditioned; heights go back to time zero afterwards.
    middle = float(np.average(times, weights=errors**-2))
    stretches = int(groups.max()) + 1
    columns = [(groups == stretch).astype(np.float64) for stretch in range(stretches)]
    design = np.stack([*columns, times - middle] if sloped else columns, axis=1)
    weighted = design / errors[:, None]
    covariance = np.linalg.pinv(weighted.T @ weighted)
    solution = covariance @ (weighted.T @ (values / errors))
    slope = float(solution[-1]) if sloped else 0.0
    deviations = (values - design @ solution) / errors
    freedom = max(1, values.size - design.shape[1])
    scatter = float(np.sqrt(deviations @ deviations / freedom))
    covariance = covariance * max(1.0, scatter) ** 2
    if sloped:
        to_zero = np.eye(stretches + 1)
        to_zero[:-1, -1] = -middle
        covariance = to_zero @ covariance @ to_zero.T
    heights = np.asarray(solution[:stretches] - slope * middle, dtype=np.float64)
    return Line(heights, slope, np.asarray(covariance, dtype=np.float64), scatter)


def find_steps(
    times: Float64s, values: Float64s, errors: Float64s, groups: Int64s, least_step: float
) -> tuple[Int64s, bool]:
    """Return groups with a new one at each step, and whether the values wander rather than step.

    Args:
        times: shape (blocks,), seconds.
        values: shape (blocks,), seconds.
        errors: shape (blocks,), standard deviation of each value.
        groups: shape (blocks,), heights known to differ: 0, 1, 2 … in order.
        least_step: seconds; what steps less is left alone.
    """
    borders: list[int] = []
    most = _USUAL_STEPS + values.size // _BLOCKS_PER_STEP
    for count in range(most + 1):
        current = _split(groups, borders)
        line = fit_line(times, values, errors, current, sloped=True)
        deviations = values - line.heights[current] - line.slope * times
        noise = _robust_scatter(deviations / errors)
        gains, sizes = _step_gains(times, deviations, errors * noise, current)
        gains[np.abs(sizes) < least_step] = 0.0
        best = int(np.argmax(gains))
        if gains[best] < _LEAST_GAIN:
            return current, False
        if count == 0 and _curve_gain(times, deviations, errors * noise) > gains[best]:
            return groups, True
        borders.append(best)
    return groups, True


def _split(groups: Int64s, borders: list[int]) -> Int64s:
    """Return groups counted anew with a border before each of the blocks in `borders`."""
    new = np.concatenate(([0], np.diff(groups)))
    new[borders] = 1
    return np.asarray(np.cumsum(new), dtype=np.int64)


def _robust_scatter(standard_deviations: Float64s) -> float:
    """Return how much further than stated the values scatter from one to the next, never under one."""
    if standard_deviations.size < 4:
        return 1.0
    # Differences of neighbours: a step not yet found hardly counts.
    typical = float(np.median(np.abs(np.diff(standard_deviations))))
    return max(1.0, typical / (0.6745 * float(np.sqrt(2.0))))


def _step_gains(
    times: Float64s, deviations: Float64s, errors: Float64s, groups: Int64s
) -> tuple[Float64s, Float64s]:
    """Return for a step before each block, up to the end of its group, how much it explains and its size.

    The deviations are those of the best line so far; the gain accounts for heights and slope fitting anew.
    """
    weights = errors**-2
    ends = np.searchsorted(groups, groups, side="right")
    starts = np.searchsorted(groups, groups, side="left")

    def sum_to_end(terms: Float64s) -> Float64s:
        total = np.concatenate(([0.0], np.cumsum(terms)))
        return np.asarray(total[ends] - total[:-1], dtype=np.float64)

    # The slope's column, made free of the groups' heights.
    group_weights = np.bincount(groups, weights)
    centred = times - (np.bincount(groups, weights * times) / group_weights)[groups]
    with_slope = sum_to_end(weights * centred)
    after = sum_to_end(weights)
    own = after - after**2 / group_weights[groups] - with_slope**2 / max(float(weights @ centred**2), 1e-300)
    explained = sum_to_end(weights * deviations)
    index = np.arange(times.size)
    allowed = (index - starts >= _LEAST_BLOCKS) & (ends - index >= _LEAST_BLOCKS) & (own > 1e-9 * after)
    safe = np.where(allowed, own, 1.0)
    sizes = np.where(allowed, explained / safe, 0.0)
    return np.where(allowed, explained**2 / safe, 0.0), sizes


def _curve_gain(times: Float64s, deviations: Float64s, errors: Float64s) -> float:
    """Return how much a smooth curve explains of what a line leaves."""
    if times.size < 4 * len(_CURVE_POWERS):
        return 0.0
    span = max(float(np.ptp(times)), 1e-9)
    scaled = 2.0 * (times - times[0]) / span - 1.0
    curve = np.polynomial.legendre.legvander(scaled, max(_CURVE_POWERS)) / errors[:, None]
    target = deviations / errors
    solution = np.linalg.lstsq(curve, target, rcond=None)[0]
    left = target - curve @ solution
    return float(target @ target - left @ left)
