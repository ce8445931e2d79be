"""Where captures differ, gathered into places that are judged as one.

All positions are timeline samples.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.compare.limits import PACE_SAMPLES
from assembler.aligner.records.limits import MOST_GAP_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.records.ranges import Range


def one_place_each(ranges: Sequence[Range], holds: Callable[[Range], bool]) -> list[Range]:
    """Return differences with those taken together that are likely to be of one flaw.

    A level held over a square wave differs from it in every other half period only; one out of phase, at every edge.

    Args:
        ranges: in which captures differ, in order.
        holds: says whether captures hold one level in a range: it may have been held before and may be behind.
    """
    joined: list[Range] = []
    length = 0
    keeps_pace = _keeping_pace(ranges)
    for (start, end), is_next in zip(ranges, keeps_pace, strict=True):
        gap = start - joined[-1][1] if joined else 0
        is_near = gap <= 1.5 * max(length, end - start) or is_next
        if joined and gap <= MOST_GAP_SAMPLES and (is_near or holds((joined[-1][1], start))):
            joined[-1] = joined[-1][0], end
        else:
            joined.append((start, end))
        length = end - start
    return joined


def _keeping_pace(ranges: Sequence[Range]) -> list[bool]:
    """Return of each range whether it follows the one before at the pace of the one after it, or of two before."""
    paces = [behind - before for (before, _), (behind, _) in pairwise(ranges)]
    steady = [abs(second - first) <= PACE_SAMPLES for first, second in pairwise(paces)]
    return [False, *(any(pair) for pair in zip([False, *steady], [*steady, False], strict=True))][
        : len(ranges)
    ]
