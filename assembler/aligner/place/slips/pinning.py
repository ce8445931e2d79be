"""A slip's place by a pass that bears witness where the most trusted one can't.

A slip inside a stretch that is flawed on all tracks of the reference is proved against it on either side only; another
pass that runs on there may show the place to the sample.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.place.limits import ANCHOR_SAMPLES
from assembler.aligner.place.slips.borders import locate_border

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.timemap import Slip, Stretch, TimeMap


@dataclass(frozen=True)
class MappedPass:
    """The tracks of a pass, and where on the timeline they lie."""

    audio: TrackReader
    time_map: TimeMap


def pin_slips(slips: Sequence[Slip], one: MappedPass, others: Sequence[MappedPass]) -> list[Slip]:
    """Return the slips of a pass, each at the place that is least in doubt by any of the others."""
    borders = {after.pass_start: (before, after) for before, after in pairwise(one.time_map.stretches)}
    borders |= {before.pass_end: (before, after) for before, after in borders.values()}
    return [
        _pinned(slip, borders[slip.pass_sample], one, others) if slip.pass_sample in borders else slip
        for slip in slips
    ]


def _pinned(
    slip: Slip, border: tuple[Stretch, Stretch], one: MappedPass, others: Sequence[MappedPass]
) -> Slip:
    best = slip
    for other in others:
        if _width(best) == 0:
            break
        seen = _seen_by(slip, border, one, other)
        if seen is not None and _width(seen) < _width(best):
            best = seen
    return best


def _width(slip: Slip) -> int:
    return max(0, slip.doubt[1] - slip.doubt[0])


def _seen_by(slip: Slip, border: tuple[Stretch, Stretch], one: MappedPass, other: MappedPass) -> Slip | None:
    """Return the slip where another pass shows it, or None where that does not run on beside its doubt."""
    before, after = border
    low = max(before.pass_start, min(slip.doubt[0], slip.pass_sample) - ANCHOR_SAMPLES)
    high = min(after.pass_end, max(slip.doubt[1], after.pass_start) + ANCHOR_SAMPLES)
    beside = other.time_map.covering(low + before.shift, high + after.shift)
    if (
        len(beside) != 1
        or beside[0].pass_end - beside[0].pass_start < high + after.shift - low - before.shift
    ):
        return None
    shifts = before.shift - beside[0].shift, after.shift - beside[0].shift
    found = locate_border(other.audio, one.audio, (low, high), shifts)
    if not slip.doubt[0] <= found.end <= slip.doubt[1]:
        return None
    return replace(slip, pass_sample=found.end, doubt=found.doubt)
