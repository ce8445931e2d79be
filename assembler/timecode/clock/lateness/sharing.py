"""One spread of lateness for all stretches that were logged through one interface.

Where ticks are coarse they tell the middle of a box (see `lateness`) far better than its width, and the onset is the
middle less half the width: onset and width trade. Stretches that share one interface share one width. They tell it
together, and what they cannot tell moves all their onsets alike, so that it cancels where they are placed against
each other.

Deviations, widths, heights and errors are in seconds.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.clock.lateness.box import condense
from assembler.timecode.clock.lateness.likelihood import (
    LEAST_WIDTH,
    REACH,
    Lateness,
    log_likelihood,
    log_prior,
    moments,
    simplify,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Float64s

_GRID: Final = 31
# The grid of widths is set closer so many times, and within each that of middles: first under one width, then all.
_WIDTH_TURNS: Final = 2
_ROUGH_TURNS: Final = 3
_FINE_TURNS: Final = 3


@dataclass(frozen=True)
class Slanted:
    """A height that a slanted line gave, under a width taken for known.

    Args:
        height: at log time zero.
        error: its standard deviation.
        width: the width it holds for.
        per_width: how much the height changes with the width.
    """

    height: float
    error: float
    width: float
    per_width: float


@dataclass(frozen=True)
class Level:
    """One stretch's deviations, any slope removed, as far as their spread matters.

    Args:
        base: what the values count from.
        values: shape (n,), distinct deviations.
        counts: shape (n,), how often each occurs.
        breadth: over how much ordinary ones spread, ticks included.
        scatter: how far parts of the stretch differ, in their own standard deviations; never under one.
        doubt: what else the height is in doubt by.
        slanted: its height, where that comes from a slanted line.
    """

    base: float
    values: Float64s
    counts: Float64s
    breadth: float
    scatter: float = 1.0
    doubt: float = 0.0
    slanted: Slanted | None = None


@dataclass(frozen=True)
class Shared:
    """Levels under one spread of lateness.

    Args:
        width: what they share.
        width_error: its standard deviation.
        gain: log likelihood of the levels under the best width.
        heights: shape (levels,), onset of each.
        errors: shape (levels,), standard deviation of each height.
        apart_errors: shape (levels,), the same without what is common to all: for heights against each other.
    """

    width: float
    width_error: float
    gain: float
    heights: Float64s
    errors: Float64s
    apart_errors: Float64s

    def take(self, part: slice) -> Shared:
        """Return the same for some of the levels."""
        return replace(
            self,
            heights=self.heights[part],
            errors=self.errors[part],
            apart_errors=self.apart_errors[part],
        )


@dataclass(frozen=True)
class _Curve:
    """What a level says under each of several widths: log likelihood, height and its variance."""

    gains: Float64s
    heights: Float64s
    variances: Float64s


def make_level(deviations: Float64s, tick: float, *, is_soft: bool) -> Level:
    """Return a level of at least one deviation; soft where edges are."""
    base, width, values, counts = condense(deviations, tick, is_soft=is_soft)
    return Level(base, values, counts, width + tick)


def share_lateness(levels: Sequence[Level], lateness: Lateness, *, is_known: bool = False) -> Shared:
    """Return the heights of levels that share one spread.

    Args:
        levels: at least one; logged in the same ticks.
        lateness: about how they spread; its width error says how far to look for the width.
        is_known: the width and its error are knowledge from elsewhere, not from these levels.
    """
    width, reach = lateness.width, REACH * lateness.width_error
    for _ in range(_WIDTH_TURNS):
        widths = np.linspace(max(width - reach, LEAST_WIDTH / 4), width + reach, _GRID)
        curves = [_trace(level, widths, lateness) for level in levels]
        gains = np.sum([curve.gains for curve in curves], axis=0)
        if is_known:
            gains = gains - ((widths - lateness.width) / lateness.width_error) ** 2 / 2
        odds = gains if is_known else gains + log_prior(widths)
        weights = np.exp(odds - odds.max())
        weights /= weights.sum()
        width, error = moments(widths, weights)
        reach = REACH * error
    return _sum_up(levels, curves, weights, Shared(width, error, float(gains.max()), *(np.zeros(0),) * 3))


def _sum_up(levels: Sequence[Level], curves: Sequence[_Curve], weights: Float64s, shared: Shared) -> Shared:
    scatter = np.array([level.scatter for level in levels])
    doubt = np.array([level.doubt for level in levels])
    table = np.array([curve.heights for curve in curves])
    own = np.array([curve.variances for curve in curves]) @ weights
    heights = table @ weights
    moved = table - heights[:, None]
    whole = moved**2 @ weights
    count = len(levels)
    apart = whole
    if count > 1:
        # Two of few levels move against each other by more than each moves against the mean of all.
        apart = (moved - moved.mean(axis=0)) ** 2 @ weights * count / (count - 1)
    return replace(
        shared,
        heights=heights,
        errors=np.hypot(scatter * np.sqrt(own + whole), doubt),
        apart_errors=np.hypot(scatter * np.sqrt(own + apart), doubt),
    )


def _trace(level: Level, widths: Float64s, lateness: Lateness) -> _Curve:
    """Return what a level says under each width."""
    # One width tells about where the box lies; under the others its middle is at most half the difference away.
    middle = widths[widths.size // 2 :][:1]
    median = level.values[np.searchsorted(np.cumsum(level.counts), level.counts.sum() / 2)]
    start = _Middles(np.full(1, median), (middle + lateness.smear) / 2)
    first = _locate_middles(level, middle, lateness, start, _ROUGH_TURNS)
    reach = REACH * np.sqrt(first.variances) + np.abs(widths - middle) / 2
    found = _locate_middles(level, widths, lateness, _Middles(first.middles, reach), _FINE_TURNS)
    if level.slanted is not None:
        slanted = level.slanted
        heights = slanted.height + slanted.per_width * (widths - slanted.width)
        return _Curve(found.gains, heights, np.full(widths.shape, slanted.error**2))
    # See `Lateness.lead`.
    heights = level.base + found.middles - np.hypot(widths, lateness.softness) / 2
    return _Curve(found.gains, heights, found.variances)


@dataclass(frozen=True)
class _Middles:
    """Where the middle of the box lies under each width, how far to look, what was found."""

    middles: Float64s
    reach: Float64s
    variances: Float64s = field(default_factory=lambda: np.zeros(0))
    gains: Float64s = field(default_factory=lambda: np.zeros(0))


def _locate_middles(
    level: Level, widths: Float64s, lateness: Lateness, start: _Middles, turns: int
) -> _Middles:
    """Return the middle under each width, on grids that are set closer at each turn."""
    found = start
    steps = np.linspace(-1.0, 1.0, _GRID)
    for _ in range(turns):
        grid = found.middles[:, None] + found.reach[:, None] * steps
        onsets, ends = grid - widths[:, None] / 2, grid + widths[:, None] / 2
        values, counts = simplify(level.values, level.counts, onsets, ends, lateness.edges.reach)
        terms = log_likelihood(values[:, None, None], onsets, widths[:, None], lateness.edges, level.breadth)
        likelihood = np.tensordot(counts, terms, axes=1)
        best = likelihood.max(axis=1)
        weights = np.exp(likelihood - best[:, None])
        total = weights.sum(axis=1)
        middles = (weights * grid).sum(axis=1) / total
        step = grid[:, 1] - grid[:, 0]
        variances = (weights * (grid - middles[:, None]) ** 2).sum(axis=1) / total + step**2 / 12
        found = _Middles(middles, REACH * np.sqrt(variances), variances, best + np.log(total * step))
    return found
