"""From deviations to a line: blocks, onsets, slope, and slips to the message.

Half a second of messages makes a block; each block gives an onset (see `lateness`), the onsets a line with steps (see
`steps`). Where a step was found, the border is set again between single messages, by their likelihood under the
heights on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.centring import centre_heights, locate_middles
from assembler.timecode.lateness import Lateness, fit_lateness, locate_onsets, log_likelihood
from assembler.timecode.sharing import Level, Logged, Shared, Slanted, make_level, share_lateness
from assembler.timecode.steps import SURE_DEVIATIONS, Line, find_steps, fit_line

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.arrays import Float64s, Int64s
    from assembler.timecode.stretches import Stretches

_BLOCK_MESSAGES: Final = 60
_LEAST_BLOCK_MESSAGES: Final = 8
_USUAL_BLOCKS: Final = 16
# With fewer blocks than this a slope cannot be told from noise.
_LEAST_SLOPED_BLOCKS: Final = 6
# A slope within so many of its own standard deviations is none: clocks are locked or tens of ppm off, seldom less.
_SLOPE_DEVIATIONS: Final = 4.0
# Two ways to find a height that differ by more of their standard deviations than this cast doubt on both.
_ODD_DEVIATIONS: Final = 4.0
# No block counts as surer than this share of the usual error; where edges are soft, none as surer than usual.
_LEAST_ERROR_SHARE: Final = 0.5
# Blocks whose scatter exceeds its due by less than so many standard deviations scatter as they should.
_SCATTER_DEVIATIONS: Final = 2.0
# How heights change with the width is tried out on one that is wider by at least this share.
_WIDTH_STEP_SHARE: Final = 0.01
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


@dataclass(frozen=True)
class Span:
    """Where a stretch lies.

    Args:
        start: log seconds of its first message.
        end: log seconds of its last one.
        messages: how many it has.
        by_slip: whether it begins at a slip, not at a border that the log itself tells.
        start_error: seconds, how far off the slip's place may be (standard deviation).
    """

    start: float
    end: float
    messages: int
    by_slip: bool
    start_error: float


@dataclass(frozen=True)
class LineFit:
    """Deviations explained.

    Args:
        spans: where each stretch lies, slips counted as borders.
        logged: what the log says about lateness; a level for each stretch, none where points err both ways.
        shared: the height of each stretch, deviation at log time zero, by this log alone.
        slope: seconds per second; exactly zero where none could be told.
        measured_slope: the same as measured, also where the line does without.
        slope_error: its standard deviation; infinite where there is too little to measure one.
        wander: seconds, how far the onsets keep from the line beyond their errors (root mean square).
    """

    spans: tuple[Span, ...]
    logged: Logged
    shared: Shared
    slope: float
    measured_slope: float
    slope_error: float
    wander: float


@dataclass(frozen=True)
class _Steps:
    """Steps as found: the stretch of each block or message, the line, the lateness, how sure borders are."""

    groups: Int64s
    line: Line
    lateness: Lateness
    border_errors: Mapping[int, float] = field(default_factory=dict)


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
        doubt = 0.0 if stretches.two_sided else _phase_doubt(stretches, lateness)
        blocks = _make_blocks(stretches, stretches.groups, lateness, slope)
        values = (blocks.times, blocks.onsets, _sober_errors(blocks, _LEAST_ERROR_SHARE))
        found, wanders = find_steps(*values, blocks.groups, max(least_step, doubt))
        line = fit_line(*values, found, sloped=_can_slope(blocks))
        slope = line.slope
        groups, border_errors = _set_borders(stretches, blocks, _Steps(found, line, lateness))
        left = deviations - line.heights[groups] - line.slope * seconds
        lateness = fit_lateness(_detrend(deviations, groups) if wanders else left, stretches.tick)
    steps = _Steps(groups, line, lateness, border_errors)
    return _finish(stretches, steps, wanders=wanders, least_step=least_step)


def _finish(stretches: Stretches, steps: _Steps, *, wanders: bool, least_step: float) -> LineFit:
    groups, lateness, slope = steps.groups, steps.lateness, steps.line.slope
    while True:
        blocks = _make_blocks(stretches, groups, lateness, slope)
        line, slope, slope_error = _choose_line(blocks, lateness)
        left = blocks.onsets - line.heights[blocks.groups] - line.slope * blocks.times
        levels: tuple[Level, ...] = ()
        if stretches.two_sided:
            shared = centre_heights(stretches, groups, left, line, lateness)
        else:
            levels, shared = _settle_levels(stretches, blocks, groups, line, lateness, wanders=wanders)
        weak = _weakest_slip(stretches, groups, shared, least_step)
        if weak is None:
            break
        groups = np.where(groups > weak, groups - 1, groups)
    excess = float(np.mean(left**2) - np.mean(blocks.errors**2))
    return LineFit(
        spans=_spans(stretches, groups, steps.border_errors),
        logged=Logged(
            levels, lateness, shared.gain, stretches.tick, is_late=not (wanders or stretches.two_sided)
        ),
        shared=shared,
        slope=line.slope,
        measured_slope=slope,
        slope_error=slope_error,
        wander=float(np.sqrt(max(excess, 0.0))) if wanders else 0.0,
    )


def _settle_levels(
    stretches: Stretches, blocks: Blocks, groups: Int64s, line: Line, lateness: Lateness, *, wanders: bool
) -> tuple[tuple[Level, ...], Shared]:
    """Return the stretches as levels, and where they lie by this log alone."""
    # A sloped line is never exact enough for a sharp box; its clock carries messages over all places
    # between two ticks, so that blocks do not err alike.
    carried = abs(line.slope) * float(np.ptp(stretches.seconds))
    levels = _make_levels(stretches, groups, line, lateness, _sure_scatter(line, blocks))
    if wanders or (line.slope and carried > stretches.tick):
        levels = _slant(stretches, groups, levels, line, lateness)
    return _doubt_odd(levels, share_lateness(levels, lateness), line)


def _spans(stretches: Stretches, groups: Int64s, border_errors: Mapping[int, float]) -> tuple[Span, ...]:
    first = np.flatnonzero(np.diff(groups, prepend=-1))
    ends = np.append(first[1:], groups.size)
    return tuple(
        Span(
            start=float(stretches.seconds[start]),
            end=float(stretches.seconds[end - 1]),
            messages=int(end - start),
            by_slip=bool(start and stretches.groups[start] == stretches.groups[start - 1]),
            start_error=border_errors.get(int(start), 0.0),
        )
        for start, end in zip(first, ends, strict=True)
    )


def _sober_errors(blocks: Blocks, least_share: float) -> Float64s:
    """Return the errors of blocks, none less than a share of the usual one.

    A block across a slip has the edges of two boxes, and one whose messages are not spread like the box an edge that
    is none: they seem to know their onset all too well.
    """
    return np.maximum(blocks.errors, least_share * float(np.median(blocks.errors)))


def _choose_line(blocks: Blocks, lateness: Lateness) -> tuple[Line, float, float]:
    """Return the line, level unless a slope is sure, with the slope as measured and its error."""
    errors = _sober_errors(blocks, 1.0 if lateness.softness else _LEAST_ERROR_SHARE)
    values = (blocks.times, blocks.onsets, errors, blocks.groups)
    level = fit_line(*values, sloped=False)
    if not _can_slope(blocks):
        return level, 0.0, np.inf
    sloped = fit_line(*values, sloped=True)
    is_sure = abs(sloped.slope) > _SLOPE_DEVIATIONS * sloped.slope_error
    return sloped if is_sure else level, sloped.slope, sloped.slope_error


def _weakest_slip(stretches: Stretches, groups: Int64s, shared: Shared, least_step: float) -> int | None:
    """Return the stretch whose end is the least sure slip, if that is not sure enough; else None."""
    borders = np.flatnonzero(np.diff(groups))
    slips = groups[borders[stretches.groups[borders] == stretches.groups[borders + 1]]]
    if not slips.size:
        return None
    sizes = np.abs(shared.heights[slips + 1] - shared.heights[slips])
    errors = np.hypot(shared.apart_errors[slips + 1], shared.apart_errors[slips])
    needed = np.maximum(SURE_DEVIATIONS * errors, least_step)
    worst = int(np.argmin(sizes / needed))
    return int(slips[worst]) if sizes[worst] < needed[worst] else None


def _sure_scatter(line: Line, blocks: Blocks) -> float:
    """Return how far blocks scatter in their own standard deviations; one where chance may have done it."""
    chance = 1.0 + _SCATTER_DEVIATIONS / np.sqrt(2.0 * blocks.times.size)
    return line.scatter if line.scatter > chance else 1.0


def _make_levels(
    stretches: Stretches, groups: Int64s, line: Line, lateness: Lateness, scatter: float
) -> tuple[Level, ...]:
    """Return the stretches as levels, the slope being given.

    All messages of a stretch count together. A mean over blocks would not do: where every message has the same
    place between two ticks, all blocks err alike.
    """
    borders = np.flatnonzero(np.diff(groups)) + 1
    parts = np.split(stretches.deviations - line.slope * stretches.seconds, borders)
    # The slope turns the line about each stretch's middle.
    middles = np.bincount(groups, stretches.seconds) / np.bincount(groups)
    doubts = np.abs(middles) * (line.slope_error if line.slope else 0.0)
    # Where blocks scatter more than they should, lateness is not spread as supposed.
    return tuple(
        replace(
            make_level(part, stretches.tick, is_soft=lateness.softness > 0.0),
            scatter=scatter,
            doubt=float(doubt),
        )
        for part, doubt in zip(parts, doubts, strict=True)
    )


def _slant(
    stretches: Stretches, groups: Int64s, levels: tuple[Level, ...], line: Line, lateness: Lateness
) -> tuple[Level, ...]:
    """Return the levels with the heights of the line, and how these change with the width."""
    step = max(lateness.width_error, _WIDTH_STEP_SHARE * lateness.width)
    wider = replace(lateness, width=lateness.width + step)
    blocks = _make_blocks(stretches, groups, wider, line.slope)
    moved = fit_line(blocks.times, blocks.onsets, blocks.errors, blocks.groups, sloped=bool(line.slope))
    per_width = np.clip((moved.heights - line.heights) / step, -1.0, 0.0)
    slants = zip(line.heights, line.height_errors, per_width, strict=True)
    return tuple(
        replace(level, scatter=1.0, slanted=Slanted(float(height), float(error), lateness.width, float(per)))
        for level, (height, error, per) in zip(levels, slants, strict=True)
    )


def _doubt_odd(levels: tuple[Level, ...], shared: Shared, line: Line) -> tuple[tuple[Level, ...], Shared]:
    """Return the same with more doubt where all messages and the blocks put a height elsewhere."""
    apart = np.abs(line.heights - shared.heights)
    odd = apart > _ODD_DEVIATIONS * np.hypot(shared.errors, line.height_errors)
    doubts = np.where(odd, apart, 0.0)
    doubted = tuple(
        replace(level, doubt=float(np.hypot(level.doubt, doubt)))
        for level, doubt in zip(levels, doubts, strict=True)
    )
    errors, apart_errors = np.hypot(shared.errors, doubts), np.hypot(shared.apart_errors, doubts)
    return doubted, replace(shared, errors=errors, apart_errors=apart_errors)


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
    table = _tabulate(stretches.deviations - slope * seconds, starts)
    if stretches.two_sided:
        onsets, errors = locate_middles(table, stretches.tick / np.sqrt(12.0))
    else:
        onsets, errors = locate_onsets(table, lateness)
    times = np.add.reduceat(seconds, starts) / lengths
    return Blocks(starts, times, groups[starts], onsets + slope * times, errors)


def _set_borders(stretches: Stretches, blocks: Blocks, steps: _Steps) -> tuple[Int64s, dict[int, float]]:
    """Return the stretch of each message, borders set between single ones, and how sure those are, in seconds."""
    errors: dict[int, float] = {}
    borders = np.zeros(stretches.seconds.size, dtype=np.int64)
    for block in np.flatnonzero(np.diff(steps.groups)) + 1:
        border = int(blocks.starts[block])
        if blocks.groups[block] == blocks.groups[block - 1]:
            border, errors[border] = _set_border(stretches, blocks, steps, int(block))
        borders[border] = 1
    return np.asarray(np.cumsum(borders), dtype=np.int64), errors


def _set_border(stretches: Stretches, blocks: Blocks, steps: _Steps, block: int) -> tuple[int, float]:
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
