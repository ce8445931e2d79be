"""From deviations to a line: blocks, onsets, slope, and slips to the message.

Half a second of messages makes a block; each block gives an onset (see `lateness`), the onsets a line with steps (see
`steps`). Where a step was found, the border is set again between single messages, by their likelihood under the
heights on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.lateness import Lateness, fit_lateness, locate_onsets, log_likelihood
from assembler.timecode.steps import SURE_DEVIATIONS, Line, find_steps, fit_line

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int64s
    from assembler.timecode.stretches import Stretches

_BLOCK_MESSAGES: Final = 60
_LEAST_BLOCK_MESSAGES: Final = 8
_USUAL_BLOCKS: Final = 16
# With fewer blocks than this a slope cannot be told from noise.
_LEAST_SLOPED_BLOCKS: Final = 6
# A slope within so many of its own standard deviations is none.
_SLOPE_DEVIATIONS: Final = 3.0
# The width that stretches share is known no better than this.
_WIDTH_DOUBT_SHARE: Final = 0.01
# Two ways to find a height that differ by more of their standard deviations than this cast doubt on both.
_ODD_DEVIATIONS: Final = 4.0
# While steps are looked for no block counts as surer than this share of the usual error.
_LEAST_ERROR_SHARE: Final = 0.5
# Soft edges: the spread is only like the box, so its error is tried out on so many parts of the messages.
_PARTS: Final = 8
# A border is set again within so many blocks of where the step was found.
_BORDER_BLOCKS: Final = 2


@dataclass(frozen=True)
class Blocks:
    """Blocks of messages.

    Args:
        starts: shape (blocks,), first message of each; the next one's start ends it.
        times: shape (blocks,), mean log time.
        groups: shape (blocks,), the stretch.
        onsets: shape (blocks,), seconds.
        errors: shape (blocks,), standard deviation of each onset.
    """

    starts: Int64s
    times: Float64s
    groups: Int64s
    onsets: Float64s
    errors: Float64s


@dataclass(frozen=True)
class LineFit:
    """Deviations explained.

    Args:
        groups: shape (n,), the stretch of each message, slips counted as borders.
        lateness: spread of lateness.
        heights: shape (stretches,), deviation of each at log time zero.
        errors: shape (stretches,), standard deviation of each height.
        slope: seconds per second; exactly zero where none could be told.
        measured_slope: the same as measured, also where the line does without.
        slope_error: its standard deviation; infinite where there is too little to measure one.
        wander: seconds, how far the onsets keep from the line beyond their errors (root mean square).
    """

    groups: Int64s
    lateness: Lateness
    heights: Float64s
    errors: Float64s
    slope: float
    measured_slope: float
    slope_error: float
    wander: float


@dataclass(frozen=True)
class _Steps:
    """Steps as found: the stretch of each block or message, the line, the lateness."""

    groups: Int64s
    line: Line
    lateness: Lateness


def fit_stretches(stretches: Stretches, least_step: float) -> LineFit:
    """Return the line through the deviations of all stretches.

    Args:
        stretches: points by stretch.
        least_step: seconds, the least slip worth finding.
    """
    deviations, seconds, groups = stretches.deviations, stretches.seconds, stretches.groups
    lateness = fit_lateness(_detrend(deviations, groups), stretches.tick, rough=True)
    wanders, slope = False, 0.0
    # The second round knows the lateness without the blur of the first's rough trend.
    for _ in range(2):
        doubt = _phase_doubt(stretches, lateness)
        blocks = _make_blocks(stretches, stretches.groups, lateness, slope)
        # A block across a slip has the edges of two boxes, and seems to know its onset all too well.
        errors = np.maximum(blocks.errors, _LEAST_ERROR_SHARE * float(np.median(blocks.errors)))
        values = (blocks.times, blocks.onsets, errors)
        found, wanders = find_steps(*values, blocks.groups, max(least_step, doubt))
        line = fit_line(*values, found, sloped=_can_slope(blocks))
        slope = line.slope
        groups = _set_borders(stretches, blocks, _Steps(found, line, lateness))
        left = deviations - line.heights[groups] - line.slope * seconds
        lateness = fit_lateness(_detrend(deviations, groups) if wanders else left, stretches.tick)
    return _finish(stretches, _Steps(groups, line, lateness), wanders=wanders, least_step=least_step)


def _finish(stretches: Stretches, steps: _Steps, *, wanders: bool, least_step: float) -> LineFit:
    groups, lateness, slope = steps.groups, steps.lateness, steps.line.slope
    while True:
        blocks = _make_blocks(stretches, groups, lateness, slope)
        line, slope, slope_error = _choose_line(blocks)
        # A sloped line is never exact enough for a sharp box; its clock carries messages over all places
        # between two ticks, so that blocks do not err alike.
        carried = abs(line.slope) * float(np.ptp(stretches.seconds))
        if wanders or (line.slope and carried > stretches.tick):
            heights, errors = line.heights, line.height_errors
        else:
            heights, errors = _heights(stretches, groups, line, lateness)
        weak = _weakest_slip(stretches, groups, heights, errors, least_step)
        if weak is None:
            break
        groups = np.where(groups > weak, groups - 1, groups)
    left = blocks.onsets - line.heights[blocks.groups] - line.slope * blocks.times
    excess = float(np.mean(left**2) - np.mean(blocks.errors**2))
    # The slope turns the line about each stretch's middle.
    middles = np.bincount(groups, stretches.seconds) / np.bincount(groups)
    lever = np.abs(middles) * (line.slope_error if line.slope else 0.0)
    return LineFit(
        groups=groups,
        lateness=lateness,
        heights=heights,
        errors=np.hypot(errors, lever),
        slope=line.slope,
        measured_slope=slope,
        slope_error=slope_error,
        wander=float(np.sqrt(max(excess, 0.0))) if wanders else 0.0,
    )


def _choose_line(blocks: Blocks) -> tuple[Line, float, float]:
    """Return the line, level unless a slope is sure, with the slope as measured and its error."""
    values = (blocks.times, blocks.onsets, blocks.errors, blocks.groups)
    level = fit_line(*values, sloped=False)
    if not _can_slope(blocks):
        return level, 0.0, np.inf
    sloped = fit_line(*values, sloped=True)
    is_sure = abs(sloped.slope) > _SLOPE_DEVIATIONS * sloped.slope_error
    return sloped if is_sure else level, sloped.slope, sloped.slope_error


def _weakest_slip(
    stretches: Stretches, groups: Int64s, heights: Float64s, errors: Float64s, least_step: float
) -> int | None:
    """Return the stretch whose end is the least sure slip, if that is not sure enough; else None."""
    borders = np.flatnonzero(np.diff(groups))
    slips = groups[borders[stretches.groups[borders] == stretches.groups[borders + 1]]]
    if not slips.size:
        return None
    sizes = np.abs(heights[slips + 1] - heights[slips])
    needed = np.maximum(SURE_DEVIATIONS * np.hypot(errors[slips + 1], errors[slips]), least_step)
    worst = int(np.argmin(sizes / needed))
    return int(slips[worst]) if sizes[worst] < needed[worst] else None


def _heights(
    stretches: Stretches, groups: Int64s, line: Line, lateness: Lateness
) -> tuple[Float64s, Float64s]:
    """Return the height of each stretch at time zero and its standard deviation, the slope being given.

    All messages of a stretch count together. A mean over blocks would not do: where every message has the same
    place between two ticks, all blocks err alike.
    """
    borders = np.flatnonzero(np.diff(groups)) + 1
    levels = np.split(stretches.deviations - line.slope * stretches.seconds, borders)
    heights, errors = np.empty(len(levels)), np.empty(len(levels))
    # Stretches share one width, which a short one could not tell by itself.
    known = None
    if len(levels) > 1:
        doubt = max(2.0 * lateness.width_error, _WIDTH_DOUBT_SHARE * lateness.width)
        known = replace(lateness, width_error=doubt)
    for group, level in enumerate(levels):
        fitted = fit_lateness(level, stretches.tick, known=known)
        heights[group] = fitted.onset
        # Where the blocks put the line elsewhere, lateness is not spread as supposed.
        error = max(1.0, line.scatter) * _onset_error(level, fitted, stretches.tick, known)
        apart = abs(float(line.heights[group]) - fitted.onset)
        odd = apart > _ODD_DEVIATIONS * np.hypot(error, line.height_errors[group])
        errors[group] = np.hypot(error, apart if odd else 0.0)
    return heights, np.hypot(errors, _phase_doubt(stretches, lateness) / np.sqrt(12))


def _onset_error(level: Float64s, fitted: Lateness, tick: float, known: Lateness | None) -> float:
    """Return the onset's standard deviation; where edges are soft, as parts of the messages differ."""
    if not fitted.softness or level.size < _PARTS * _BLOCK_MESSAGES:
        return fitted.onset_error
    onsets = [
        fit_lateness(level[part::_PARTS], tick, rough=True, known=known).onset for part in range(_PARTS)
    ]
    return max(fitted.onset_error, float(np.std(onsets, ddof=1) / np.sqrt(_PARTS)))


def _can_slope(blocks: Blocks) -> bool:
    return blocks.times.size - int(blocks.groups.max()) >= _LEAST_SLOPED_BLOCKS


def _block_starts(groups: Int64s) -> Int64s:
    """Return where blocks start: stretches cut into equal parts of about the usual size."""
    usual = int(np.clip(groups.size // _USUAL_BLOCKS, _LEAST_BLOCK_MESSAGES, _BLOCK_MESSAGES))
    first = np.flatnonzero(np.diff(groups, prepend=-1))
    ends = np.append(first[1:], groups.size)
    parts = [
        start + np.arange(count) * (end - start) // count
        for start, end in zip(first, ends, strict=True)
        for count in [max(1, round((end - start) / usual))]
    ]
    return np.concatenate(parts).astype(np.int64)


def _detrend(deviations: Float64s, groups: Int64s) -> Float64s:
    """Return deviations less the median of their block."""
    starts = _block_starts(groups)
    table = _tabulate(deviations, starts)
    lengths = np.diff(np.append(starts, deviations.size))
    return np.asarray(deviations - np.repeat(np.nanmedian(table, axis=1), lengths), dtype=np.float64)


def _tabulate(values: Float64s, starts: Int64s) -> Float64s:
    """Return the values of each block in a row, NaN after the shorter ones."""
    lengths = np.diff(np.append(starts, values.size))
    columns = np.arange(int(lengths.max()))
    index = np.minimum(starts[:, None] + columns, values.size - 1)
    return np.where(columns < lengths[:, None], values[index], np.nan)


def _make_blocks(stretches: Stretches, groups: Int64s, lateness: Lateness, slope: float) -> Blocks:
    """Return blocks; the slope, as known so far, does not blur the onset within a block."""
    seconds = stretches.seconds
    starts = _block_starts(groups)
    lengths = np.diff(np.append(starts, seconds.size))
    onsets, errors = locate_onsets(_tabulate(stretches.deviations - slope * seconds, starts), lateness)
    times = np.add.reduceat(seconds, starts) / lengths
    return Blocks(starts, times, groups[starts], onsets + slope * times, errors)


def _set_borders(stretches: Stretches, blocks: Blocks, steps: _Steps) -> Int64s:
    """Return the stretch of each message, with the borders of steps set between single messages."""
    borders = np.zeros(stretches.seconds.size, dtype=np.int64)
    for block in np.flatnonzero(np.diff(steps.groups)) + 1:
        border = int(blocks.starts[block])
        if blocks.groups[block] == blocks.groups[block - 1]:
            border = _set_border(stretches, blocks, steps, int(block))
        borders[border] = 1
    return np.asarray(np.cumsum(borders), dtype=np.int64)


def _set_border(stretches: Stretches, blocks: Blocks, steps: _Steps, block: int) -> int:
    found, line, lateness = steps.groups, steps.line, steps.lateness
    same = np.flatnonzero((found == found[block]) | (found == found[block - 1]))
    first = max(block - _BORDER_BLOCKS, int(same[0]))
    last = min(block + _BORDER_BLOCKS, int(same[-1]) + 1)
    start = int(blocks.starts[first]) + 1
    end = int(blocks.starts[last]) if last < blocks.starts.size else stretches.seconds.size
    part = slice(start, end)
    level = stretches.deviations[part] - line.slope * stretches.seconds[part]
    before, after = (
        log_likelihood(
            level,
            float(line.heights[group]) + lateness.lead,
            lateness.width,
            lateness.smear,
            lateness.breadth,
        )
        for group in (found[block - 1], found[block])
    )
    gains = np.concatenate(([0.0], np.cumsum(before - after)))
    return min(start + int(np.argmax(gains)), end - 1)


def _phase_doubt(stretches: Stretches, lateness: Lateness) -> float:
    """Return by how much coarse ticks hide the onset, in seconds.

    Lateness as wide as a tick lets the ticks' frequencies tell where between two ticks messages came. Lateness less
    wide leaves a doubt, unless the messages themselves stand at many places between ticks.
    """
    hidden = stretches.tick - lateness.width
    if hidden <= 0.0:
        return 0.0
    some = slice(None, None, max(1, stretches.seconds.size // 10_000))
    tape = stretches.seconds[some] - stretches.deviations[some] * stretches.ratio
    phases = np.sort(np.mod(tape, stretches.tick))
    largest = max(float(np.diff(phases).max(initial=0.0)), float(phases[0] + stretches.tick - phases[-1]))
    return min(hidden, largest)
