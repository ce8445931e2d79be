"""The height of each stretch of a log: from all its messages at once, and from its line where that is surer."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.clock.lateness.sharing import Level, Shared, Slanted, make_level, share_lateness
from assembler.timecode.clock.line.blocks import Blocks, make_blocks
from assembler.timecode.clock.line.steps import Line, fit_line

if TYPE_CHECKING:
    from assembler.arrays import Int64s
    from assembler.timecode.clock.lateness.likelihood import Lateness
    from assembler.timecode.clock.stretches import Stretches

# Two ways to find a height that differ by more of their standard deviations than this cast doubt on both.
_ODD_DEVIATIONS: Final = 4.0
# Blocks whose scatter exceeds its due by less than so many standard deviations scatter as they should.
_SCATTER_DEVIATIONS: Final = 2.0
# How heights change with the width is tried out on one that is wider by at least this share.
_WIDTH_STEP_SHARE: Final = 0.01


def settle_levels(
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
    blocks = make_blocks(stretches, groups, wider, line.slope)
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
