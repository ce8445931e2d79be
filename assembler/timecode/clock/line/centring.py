"""Heights of points whose errors go both ways, as those of a stripe do: nothing there is late.

The middle of the points is where they belong, and no spread of lateness has to be known for it. How well a middle is
known is told by how the middles of blocks scatter, since the errors of neighbouring points hang together; what all
points of a log share comes on top, and no scatter tells it.

Deviations, heights and errors are in seconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.clock.lateness.sharing import Shared

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int64s
    from assembler.timecode.clock.lateness.likelihood import Lateness
    from assembler.timecode.clock.line.steps import Line
    from assembler.timecode.clock.stretches import Stretches

# Points further than this many standard deviations from the middle count as if they lay there.
_STRAY_DEVIATIONS: Final = 4.0
# Half of all points of a normal spread lie within this share of its standard deviation.
_MEDIAN_SHARE: Final = 0.6745
# Blocks more alike than this are a clock that wanders, which is reported as such.
_MOST_ALIKE: Final = 0.9
# Points in a frame: what a frame does to its own points it does to those of the next.
_POINTS_ALIKE: Final = 4.0


def locate_middles(blocks: Float64s, least_error: float) -> tuple[Float64s, Float64s]:
    """Return the middle of each block and its standard deviation.

    Args:
        blocks: shape (blocks, points), deviations; NaN where a block is shorter than the others.
        least_error: how finely a single point can tell anything.

    Returns:
        Two arrays of shape (blocks,).
    """
    points = np.maximum(np.isfinite(blocks).sum(axis=1), 1)
    centres = np.nanmedian(blocks, axis=1, keepdims=True)
    off = blocks - centres
    spreads = np.nanmedian(np.abs(off), axis=1, keepdims=True) / _MEDIAN_SHARE
    reach = _STRAY_DEVIATIONS * np.maximum(spreads, least_error)
    near = np.clip(off, -reach, reach)
    middles = centres[:, 0] + np.nanmean(near, axis=1)
    deviations = np.maximum(np.nanstd(near, axis=1), least_error)
    return middles, deviations / np.sqrt(np.maximum(points / _POINTS_ALIKE, 1.0))


def centre_heights(
    stretches: Stretches, groups: Int64s, left: Float64s, line: Line, lateness: Lateness
) -> Shared:
    """Return the heights of stretches whose points err both ways.

    Args:
        stretches: the points.
        groups: shape (n,), the stretch of each point, slips counted as borders.
        left: shape (blocks,), what the line leaves of the middles of blocks.
        line: through these middles.
        lateness: how points spread.
    """
    # The slope turns the line about each stretch's middle.
    middles = np.bincount(groups, stretches.seconds) / np.bincount(groups)
    turned = np.abs(middles) * (line.slope_error if line.slope else 0.0)
    own = _likeness_of_neighbours(left) * np.hypot(line.height_errors, turned)
    errors = np.asarray(np.hypot(own, stretches.common_error), dtype=np.float64)
    return Shared(lateness.width, lateness.width_error, 0.0, line.heights, errors, errors)


def _likeness_of_neighbours(left: Float64s) -> float:
    """Return how much worse a mean of blocks is for their neighbours being alike; one where they are not."""
    power = float(left @ left)
    alike = float(left[1:] @ left[:-1]) / power if power > 0.0 else 0.0
    alike = min(max(alike, 0.0), _MOST_ALIKE)
    return float(np.sqrt((1.0 + alike) / (1.0 - alike)))
