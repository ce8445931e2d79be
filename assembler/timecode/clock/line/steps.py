"""A straight line with steps: one slope, and a new height wherever something was lost or repeated.

Weighted least squares over blocks of messages. Steps are found one by one: the place where a step would explain most,
until none explains enough. A slow wander of the clock can look like steps; it is told apart since smooth curves then
explain more than all the steps do, each at its price. A curve against the first step alone would take two or three
slips for a wander: these look like one until all are known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.arrays import median

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int64s

# A step must explain this much of the sum of squares, in units of the noise. Chance alone reaches 25 or so among
# thousands of places; scripts/bench/clock_accuracy.py counts false steps in clean passes.
_LEAST_GAIN: Final = 45.0
# What each further step must explain beyond a curve: as much as chance may.
_STEP_PRICE: Final = 25.0
# The median of what is normally distributed, without sign, in standard deviations; and how far one of so many blocks
# may lie above it by chance, times the square root of their number.
_MEDIAN_OF_NORMAL: Final = 0.6745
_LEFT_DEVIATIONS: Final = 3.0
# A step must be this many of its own deviations large.
SURE_DEVIATIONS: Final = 5.0
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
        height_errors: shape (stretches,), standard deviations at each stretch's own middle, by how far blocks
            scatter.
        slope_error: likewise.
        scatter: how far blocks lie from the line, in their own standard deviations.
    """

    heights: Float64s
    slope: float
    height_errors: Float64s
    slope_error: float
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
    excess = max(1.0, scatter)
    return Line(
        heights=np.asarray(solution[:stretches] - slope * middle, dtype=np.float64),
        slope=slope,
        height_errors=np.asarray(excess / np.sqrt(np.bincount(groups, errors**-2)), dtype=np.float64),
        slope_error=excess * float(np.sqrt(covariance[-1, -1])) if sloped else np.inf,
        scatter=scatter,
    )


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
    errors = errors * _robust_scatter(values, errors, groups)
    borders: list[int] = []
    most = _USUAL_STEPS + values.size // _BLOCKS_PER_STEP
    while len(borders) <= most:
        current = _split(groups, borders)
        deviations = _deviations(times, values, errors, current)
        gains, sizes = _step_gains(times, deviations, errors, current)
        gains[np.abs(sizes) < least_step] = 0.0
        best = int(np.argmax(gains))
        if gains[best] < _LEAST_GAIN:
            kept = _prune(times, values, errors, groups, borders, least_step)
            is_curve = bool(borders) and _is_curve(times, values, errors, groups, kept)
            return (groups if is_curve else _split(groups, kept)), is_curve
        borders.append(best)
    return groups, True


def _deviations(times: Float64s, values: Float64s, errors: Float64s, groups: Int64s) -> Float64s:
    """Return what the best line leaves."""
    line = fit_line(times, values, errors, groups, sloped=True)
    return np.asarray(values - line.heights[groups] - line.slope * times, dtype=np.float64)


def _is_curve(
    times: Float64s, values: Float64s, errors: Float64s, groups: Int64s, borders: list[int]
) -> bool:
    """Return whether values wander: a smooth curve explains more than steps do, or they leave more than noise."""
    plain = _deviations(times, values, errors, groups) / errors
    stepped = _deviations(times, values, errors, _split(groups, borders)) / errors
    gain = float(plain @ plain - stepped @ stepped) - _STEP_PRICE * (len(borders) - 1)
    # By the median: blocks across a step lie anywhere.
    left = median(np.abs(stepped)) / _MEDIAN_OF_NORMAL
    is_noise = left <= 1.0 + _LEFT_DEVIATIONS / np.sqrt(values.size)
    return not is_noise or _curve_gain(times, plain * errors, errors) > gain


def _prune(
    times: Float64s, values: Float64s, errors: Float64s, groups: Int64s, borders: list[int], least_step: float
) -> list[int]:
    """Return the borders without those that turned out too small once all were known."""
    left = sorted(borders)
    while left:
        current = _split(groups, left)
        line = fit_line(times, values, errors, current, sloped=True)
        before, after = current[np.array(left) - 1], current[left]
        sizes = np.abs(line.heights[after] - line.heights[before])
        doubts = np.hypot(line.height_errors[after], line.height_errors[before])
        worst = int(np.argmin(sizes / np.maximum(SURE_DEVIATIONS * doubts, least_step)))
        if sizes[worst] >= max(SURE_DEVIATIONS * doubts[worst], least_step):
            break
        del left[worst]
    return left


def _split(groups: Int64s, borders: list[int]) -> Int64s:
    """Return groups counted anew with a border before each of the blocks in `borders`."""
    new = np.concatenate(([0], np.diff(groups)))
    new[borders] = 1
    return np.asarray(np.cumsum(new), dtype=np.int64)


def _robust_scatter(values: Float64s, errors: Float64s, groups: Int64s) -> float:
    """Return how much further than stated the values scatter from one to the next, never under one."""
    same = np.diff(groups) == 0
    if np.count_nonzero(same) < 4:
        return 1.0
    # Differences of neighbours: steps hardly count.
    differences = np.abs(np.diff(values)) / np.hypot(errors[1:], errors[:-1])
    return max(1.0, median(differences[same]) / _MEDIAN_OF_NORMAL)


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
