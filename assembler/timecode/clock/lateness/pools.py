"""Which logs came through one interface, and so share one spread of lateness."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.clock.lateness.sharing import Level, share_lateness

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.timecode.clock.lateness.likelihood import (
        Lateness,
    )

# Where edges are soft the spread is only like the box: its width is known no better than this share.
_SOFT_DOUBT_SHARE: Final = 0.02
# A lateness of its own must explain a log better by so much log likelihood: four standard deviations.
_OWN_GAIN: Final = 8.0
# Ticks that differ by more smear the box differently. A log's own clock makes them differ by less.
_SAME_TICK_SHARE: Final = 0.01


@dataclass(frozen=True)
class Logged:
    """What one log says about lateness.

    Args:
        levels: its stretches.
        lateness: how its own messages spread.
        gain: log likelihood of its levels under that.
        tick: step of its clock.
        is_late: whether messages are late and the clock ran evenly, so that there is a lateness to share.
    """

    levels: tuple[Level, ...]
    lateness: Lateness
    gain: float
    tick: float
    is_late: bool


@dataclass
class Pool:
    """Logs that share one spread of lateness.

    Args:
        members: which logs, as indices.
        lateness: what they share, as far as known.
        tick: step of their clocks.
    """

    members: list[int]
    lateness: Lateness
    tick: float


def find_pools(logs: Sequence[Logged]) -> list[Pool]:
    """Return which logs share one spread of lateness, each log once.

    The log that knows its width best begins a pool. Others join unless a width or softness of their own explains
    their messages much better: they came through another interface.
    """
    pools: list[Pool] = []
    for index in sorted(range(len(logs)), key=lambda index: logs[index].lateness.width_error):
        if not (logs[index].is_late and any(_join(pool, index, logs[index]) for pool in pools)):
            tick = logs[index].tick if logs[index].is_late else np.nan
            pools.append(Pool([index], logs[index].lateness, tick))
    return pools


def _soften(lateness: Lateness) -> Lateness:
    if not lateness.softness:
        return lateness
    return replace(lateness, width_error=max(lateness.width_error, _SOFT_DOUBT_SHARE * lateness.width))


def _join(pool: Pool, index: int, log: Logged) -> bool:
    """Let a log join a pool if that explains it well enough; return whether it did."""
    if not np.isclose(log.tick, pool.tick, rtol=_SAME_TICK_SHARE, atol=0.0):
        return False
    known = _soften(pool.lateness)
    joined = share_lateness(log.levels, known, is_known=True)
    # Where parts of a log scatter more than supposed, so do its widths.
    scatter = max(level.scatter for level in log.levels)
    if log.gain - joined.gain > _OWN_GAIN * scatter**2:
        return False
    pool.members.append(index)
    pool.lateness = replace(pool.lateness, width=joined.width, width_error=joined.width_error)
    return True
