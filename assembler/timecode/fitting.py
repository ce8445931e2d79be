"""From deviations to a line: blocks, onsets, slope, and slips to the message.

Half a second of messages makes a block; each block gives an onset (see `lateness`), the onsets a line with steps (see
`steps`). Where a step was found, the border is set again between single messages, by their likelihood under the
heights on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.lateness import Lateness, fit_lateness, locate_onsets, log_likelihood
from assembler.timecode.steps import Line, find_steps, fit_line

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
        line: heights and slope; the slope is exactly zero where none could be told.
        measured_slope: seconds per second, also where the line does without.
        slope_error: its standard deviation; infinite where there is too little to measure one.
        wander: seconds, how far the onsets keep from the line beyond their errors (root mean square).
        common_error: seconds, standard deviation of what all stretches share: width and phase of the ticks.
    """

    groups: Int64s
    lateness: Lateness
    line: Line
    measured_slope: float
    slope_error: float
    wander: float
    common_error: float


def fit_stretches(stretches: Stretches, least_step: float) -> LineFit:
    """Return the line through the deviations of all stretches.

    Args:
        stretches: points by stretch.
        least_step: seconds, the least slip worth finding.
    """
    deviations, seconds, groups = stretches.deviations, stretches.seconds, stretches.groups
    lateness = fit_lateness(_detrend(deviations, groups), stretches.tick)
    wanders = False
    # The second round knows the lateness without the blur of the first's rough trend.
    for _ in range(2):
        doubt = _phase_doubt(stretches, lateness)
        blocks = _make_blocks(seconds, deviations, stretches.groups, lateness)
        found, wanders = find_steps(
            blocks.times, blocks.onsets, blocks.errors, blocks.groups, max(least_step, doubt)
        )
        line = fit_line(blocks.times, blocks.onsets, blocks.errors, found, sloped=_can_slope(blocks))
        groups = _set_borders(stretches, blocks, found, line, lateness)
        left = deviations - line.heights[groups] - line.slope * seconds
        lateness = fit_lateness(_detrend(deviations, groups) if wanders else left, stretches.tick)
    blocks = _make_blocks(seconds, deviations, groups, lateness)
    return _finish(stretches, groups, blocks, lateness, wanders=wanders)


def _finish(
    stretches: Stretches, groups: Int64s, blocks: Blocks, lateness: Lateness, *, wanders: bool
) -> LineFit:
    values = (blocks.times, blocks.onsets, blocks.errors, blocks.groups)
    line = fit_line(*values, sloped=False)
    slope, slope_error = 0.0, np.inf
    if _can_slope(blocks):
        sloped = fit_line(*values, sloped=True)
        slope, slope_error = sloped.slope, float(np.sqrt(sloped.covariance[-1, -1]))
        if abs(slope) > _SLOPE_DEVIATIONS * slope_error:
            line = sloped
    left = blocks.onsets - line.heights[blocks.groups] - line.slope * blocks.times
    excess = float(np.mean(left**2) - np.mean(blocks.errors**2))
    return LineFit(
        groups=groups,
        lateness=lateness,
        line=line,
        measured_slope=slope,
        slope_error=slope_error,
        wander=float(np.sqrt(max(excess, 0.0))) if wanders else 0.0,
        common_error=_common_error(stretches, groups, blocks, lateness),
    )


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


def _make_blocks(seconds: Float64s, deviations: Float64s, groups: Int64s, lateness: Lateness) -> Blocks:
    starts = _block_starts(groups)
    lengths = np.diff(np.append(starts, seconds.size))
    onsets, errors = locate_onsets(_tabulate(deviations, starts), lateness)
    times = np.add.reduceat(seconds, starts) / lengths
    return Blocks(starts, times, groups[starts], onsets, errors)


def _set_borders(
    stretches: Stretches, blocks: Blocks, found: Int64s, line: Line, lateness: Lateness
) -> Int64s:
    """Return the stretch of each message, with the borders of steps set between single messages."""
    index = np.arange(stretches.seconds.size)
    own = np.zeros(index.size, dtype=np.int64)
    for block in np.flatnonzero(np.diff(found)) + 1:
        border = int(blocks.starts[block])
        if blocks.groups[block] == blocks.groups[block - 1]:
            border = _set_border(stretches, blocks, found, line, lateness, int(block))
        own[border] = 1
    return np.asarray(np.cumsum(own), dtype=np.int64)


def _set_border(
    stretches: Stretches, blocks: Blocks, found: Int64s, line: Line, lateness: Lateness, block: int
) -> int:
    same = np.flatnonzero((found == found[block]) | (found == found[block - 1]))
    first = max(block - _BORDER_BLOCKS, int(same[0]))
    last = min(block + _BORDER_BLOCKS, int(same[-1]) + 1)
    start = int(blocks.starts[first]) + 1
    end = int(blocks.starts[last]) if last < blocks.starts.size else stretches.seconds.size
    part = slice(start, end)
    level = stretches.deviations[part] - line.slope * stretches.seconds[part]
    before, after = (
        log_likelihood(level, line.heights[[group]], lateness.width, lateness.tick)
        for group in (found[block - 1], found[block])
    )
    gains = np.concatenate(([0.0], np.cumsum(before - after)))
    return min(start + int(np.argmax(gains)), end - 1)


def _phase_doubt(stretches: Stretches, lateness: Lateness) -> float:
    """Return by how much coarse ticks hide the onset, in seconds.

    Lateness as wide as a tick lets the ticks' frequencies tell where between two ticks messages came. Lateness less
    wide leaves a doubt, unless the messages themselves stand at many places between ticks.
    """
    hidden = lateness.tick - lateness.width
    if hidden <= 0.0:
        return 0.0
    messages = stretches.seconds[:: max(1, stretches.seconds.size // 10_000)]
    devs = stretches.deviations[:: max(1, stretches.seconds.size // 10_000)]
    tape = (messages / stretches.ratio - devs) * stretches.ratio
    phases = np.sort(np.mod(tape, lateness.tick))
    largest = max(float(np.diff(phases).max(initial=0.0)), float(phases[0] + lateness.tick - phases[-1]))
    return min(hidden, largest)


def _common_error(stretches: Stretches, groups: Int64s, blocks: Blocks, lateness: Lateness) -> float:
    """Return how much all heights may be off together, through the width and the ticks."""
    # How far onsets follow a change of the width is tried out: half as much for fine ticks.
    step = max(lateness.width_error, lateness.width / 1000)
    wider = Lateness(lateness.width + step, lateness.width_error, lateness.tick)
    moved = _make_blocks(stretches.seconds, stretches.deviations, groups, wider).onsets - blocks.onsets
    weights = blocks.errors**-2
    sensitivity = float(weights @ moved / weights.sum()) / step
    return float(
        np.hypot(sensitivity * lateness.width_error, _phase_doubt(stretches, lateness) / np.sqrt(12))
    )
