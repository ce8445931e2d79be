"""Half a second of messages makes a block, and each block gives an onset (see `lateness`).

Borders of stretches lie between blocks first; they are set again between single messages, by their likelihood under the
heights on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.arrays import median
from assembler.timecode.clock.lateness.likelihood import Lateness, log_likelihood
from assembler.timecode.clock.lateness.onsets import locate_onsets
from assembler.timecode.clock.line.centring import locate_middles

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.arrays import Float64s, Int64s
    from assembler.timecode.clock.line.steps import Line
    from assembler.timecode.clock.stretches import Stretches

_BLOCK_MESSAGES: Final = 60
_LEAST_BLOCK_MESSAGES: Final = 8
_USUAL_BLOCKS: Final = 16
# With fewer blocks than this a slope cannot be told from noise.
_LEAST_SLOPED_BLOCKS: Final = 6
# A border is set again within so many blocks of where the step was found.
_BORDER_BLOCKS: Final = 2


@dataclass(frozen=True)
class Blocks:
    """Blocks of messages.

    Args:
        starts: shape (blocks,), first message of each; the next one's start ends it.
        times: shape (blocks,), mean log time.
        groups: shape (blocks,), the stretch.
        onsets: shape (blocks,), seconds; middles where points err both ways.
        errors: shape (blocks,), standard deviation of each.
    """

    starts: Int64s
    times: Float64s
    groups: Int64s
    onsets: Float64s
    errors: Float64s


def sober_errors(blocks: Blocks, least_share: float) -> Float64s:
    """Return the errors of blocks, none less than a share of the usual one.

    A block across a slip has the edges of two boxes, and one whose messages are not spread like the box an edge that
    is none: they seem to know their onset all too well.
    """
    return np.maximum(blocks.errors, least_share * median(blocks.errors))


def can_slope(blocks: Blocks) -> bool:
    """Return whether there are blocks enough to tell a slope from noise."""
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


def detrend(deviations: Float64s, groups: Int64s) -> Float64s:
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


def make_blocks(stretches: Stretches, groups: Int64s, lateness: Lateness, slope: float) -> Blocks:
    """Return blocks; the slope, as known so far, does not blur the onset within a block."""
    seconds = stretches.seconds
    starts = _block_starts(groups)
    lengths = np.diff(np.append(starts, seconds.size))
    table = _tabulate(stretches.deviations - slope * seconds, starts)
    if stretches.two_sided:
        onsets, errors = locate_middles(table, stretches.tick / np.sqrt(12.0))
    else:
        onsets, errors = locate_onsets(table, lateness)
    times = np.add.reduceat(seconds, starts) / lengths
    return Blocks(starts, times, groups[starts], onsets + slope * times, errors)


def phase_doubt(stretches: Stretches, lateness: Lateness) -> float:
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


@dataclass(frozen=True)
class Steps:
    """Steps as found: the stretch of each block or message, the line, the lateness, how sure borders are."""

    groups: Int64s
    line: Line
    lateness: Lateness
    border_errors: Mapping[int, float] = field(default_factory=dict)


def set_borders(stretches: Stretches, blocks: Blocks, steps: Steps) -> tuple[Int64s, dict[int, float]]:
    """Return the stretch of each message, borders set between single ones, and how sure those are, in seconds."""
    errors: dict[int, float] = {}
    borders = np.zeros(stretches.seconds.size, dtype=np.int64)
    for block in np.flatnonzero(np.diff(steps.groups)) + 1:
        border = int(blocks.starts[block])
        if blocks.groups[block] == blocks.groups[block - 1]:
            border, errors[border] = _set_border(stretches, blocks, steps, int(block))
        borders[border] = 1
    return np.asarray(np.cumsum(borders), dtype=np.int64), errors


def _set_border(stretches: Stretches, blocks: Blocks, steps: Steps, block: int) -> tuple[int, float]:
    found, line, lateness = steps.groups, steps.line, steps.lateness
    same = np.flatnonzero((found == found[block]) | (found == found[block - 1]))
    first = max(block - _BORDER_BLOCKS, int(same[0]))
    last = min(block + _BORDER_BLOCKS, int(same[-1]) + 1)
    start = int(blocks.starts[first]) + 1
    end = int(blocks.starts[last]) if last < blocks.starts.size else stretches.seconds.size
    part = slice(start, end)
    level = stretches.deviations[part] - line.slope * stretches.seconds[part]
    to_box = -lateness.width / 2 if stretches.two_sided else lateness.lead
    before, after = (
        log_likelihood(
            level,
            float(line.heights[group]) + to_box,
            lateness.width,
            lateness.edges,
            lateness.breadth,
        )
        for group in (found[block - 1], found[block])
    )
    gains = np.concatenate(([0.0], np.cumsum(before - after)))
    # The mean over all places, by their likelihood, errs less at worst than the likeliest one.
    odds = np.exp(gains - gains.max())
    odds /= odds.sum()
    places = np.arange(odds.size)
    mean = float(odds @ places)
    error = float(np.sqrt(odds @ (places - mean) ** 2)) * float(np.ptp(stretches.seconds[part])) / odds.size
    return min(start + round(mean), end - 1), error
