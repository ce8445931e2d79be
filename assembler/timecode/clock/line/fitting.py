"""From deviations to a line: slope, and slips to the message.

Half a second of messages makes a block; each block gives an onset (see `lateness`), the onsets a line with steps (see
`steps`). Where a step was found, the border is set again between single messages, by their likelihood under the
heights on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.clock.fits import Residuals
from assembler.timecode.clock.lateness.box import fit_lateness
from assembler.timecode.clock.lateness.pools import Logged
from assembler.timecode.clock.line.blocks import (
    Blocks,
    Steps,
    can_slope,
    detrend,
    make_blocks,
    phase_doubt,
    set_borders,
    sober_errors,
)
from assembler.timecode.clock.line.centring import centre_heights
from assembler.timecode.clock.line.levels import settle_levels
from assembler.timecode.clock.line.steps import SURE_DEVIATIONS, Line, find_steps, fit_line

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.arrays import Int64s
    from assembler.timecode.clock.lateness.likelihood import Lateness
    from assembler.timecode.clock.lateness.sharing import Level, Shared
    from assembler.timecode.clock.stretches import Stretches

# A slope within so many of its own standard deviations is none: clocks are locked or tens of ppm off, seldom less.
_SLOPE_DEVIATIONS: Final = 4.0
# No block counts as surer than this share of the usual error; where edges are soft, none as surer than usual.
_LEAST_ERROR_SHARE: Final = 0.5


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
        slope: seconds per second; exactly zero where none could be found.
        measured_slope: the same as measured, also where the line does without.
        slope_error: its standard deviation; infinite where there is too little to measure one.
        wander: seconds, how far the onsets keep from the line beyond their errors (root mean square).
        residuals: by how much messages miss the line.
    """

    spans: tuple[Span, ...]
    logged: Logged
    shared: Shared
    slope: float
    measured_slope: float
    slope_error: float
    wander: float
    residuals: Residuals


def fit_stretches(stretches: Stretches, least_step: float) -> LineFit:
    """Return the line through the deviations of all stretches.

    Args:
        stretches: points by stretch.
        least_step: seconds, the least slip worth finding.
    """
    deviations, seconds, groups = stretches.deviations, stretches.seconds, stretches.groups
    lateness = fit_lateness(detrend(deviations, groups), stretches.tick, rough=True)
    wanders, slope = False, 0.0
    # The second round knows the lateness without the blur of the first's rough trend.
    for _ in range(2):
        doubt = 0.0 if stretches.two_sided else phase_doubt(stretches, lateness)
        blocks = make_blocks(stretches, stretches.groups, lateness, slope)
        values = (blocks.times, blocks.onsets, sober_errors(blocks, _LEAST_ERROR_SHARE))
        found, wanders = find_steps(*values, blocks.groups, max(least_step, doubt))
        line = fit_line(*values, found, sloped=can_slope(blocks))
        slope = line.slope
        groups, border_errors = set_borders(stretches, blocks, Steps(found, line, lateness))
        left = deviations - line.heights[groups] - line.slope * seconds
        lateness = fit_lateness(detrend(deviations, groups) if wanders else left, stretches.tick)
    steps = Steps(groups, line, lateness, border_errors)
    return _finish(stretches, steps, wanders=wanders, least_step=least_step)


def _finish(stretches: Stretches, steps: Steps, *, wanders: bool, least_step: float) -> LineFit:
    groups, lateness, slope = steps.groups, steps.lateness, steps.line.slope
    while True:
        blocks = make_blocks(stretches, groups, lateness, slope)
        line, slope, slope_error = _choose_line(blocks, lateness)
        left = blocks.onsets - line.heights[blocks.groups] - line.slope * blocks.times
        levels: tuple[Level, ...] = ()
        if stretches.two_sided:
            shared = centre_heights(stretches, groups, left, line, lateness)
        else:
            levels, shared = settle_levels(stretches, blocks, groups, line, lateness, wanders=wanders)
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
        residuals=Residuals.of(
            stretches.seconds,
            groups,
            stretches.deviations - shared.heights[groups] - line.slope * stretches.seconds,
        ),
    )


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


def _choose_line(blocks: Blocks, lateness: Lateness) -> tuple[Line, float, float]:
    """Return the line, level unless a slope is sure, with the slope as measured and its error."""
    errors = sober_errors(blocks, 1.0 if lateness.softness else _LEAST_ERROR_SHARE)
    values = (blocks.times, blocks.onsets, errors, blocks.groups)
    level = fit_line(*values, sloped=False)
    if not can_slope(blocks):
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
