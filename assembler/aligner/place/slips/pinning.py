"""A slip's place by a pass that bears witness where the most trusted one can't.

A slip inside a stretch that is flawed on all tracks of the reference is proved against it on either side only; another
pass that runs on there may show the place to the sample. What a flawed pass shows as one change of shift, another one
may show as several of the reference's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.place.limits import ANCHOR_SAMPLES
from assembler.aligner.place.slips.borders import locate_border

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.place.relation import Relation, RelativeStretch
    from assembler.aligner.place.slips.surplus import Slipped
    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.timemap import Slip, Stretch, TimeMap


@dataclass(frozen=True)
class MappedPass:
    """The tracks of a pass, and where on the timeline they lie."""

    audio: TrackReader
    time_map: TimeMap


def in_parts(relations: Mapping[str, Relation | None]) -> dict[str, Relation | None]:
    """Return relations of passes to one reference; a change that another pass shows in parts is in these parts."""
    return {
        name: one
        and replace(one, stretches=_in_parts(one, [r for key, r in relations.items() if r and key != name]))
        for name, one in relations.items()
    }


def _in_parts(one: Relation, others: Sequence[Relation]) -> tuple[RelativeStretch, ...]:
    stretches = list(one.stretches[:1])
    for behind in one.stretches[1:]:
        before = stretches[-1]
        reach = behind.doubt[0] + before.shift, behind.doubt[1] + behind.shift
        for other in others:
            parts = [
                (a, b)
                for a, b in pairwise(other.stretches)
                if reach[0] <= b.doubt[0] + a.shift and b.doubt[1] + b.shift <= reach[1]
            ]
            if len(parts) > 1 and parts[-1][1].shift - parts[0][0].shift == behind.shift - before.shift:
                stretches[-1:] = _parted(before, behind, parts)
                break
        else:
            stretches.append(behind)
    return tuple(stretches)


def _parted(
    before: RelativeStretch, behind: RelativeStretch, parts: Sequence[tuple[RelativeStretch, RelativeStretch]]
) -> list[RelativeStretch]:
    """Return two stretches with those between them that another pass shows."""
    found, off = [before], parts[0][0].shift - before.shift
    for a, b in parts:
        found[-1] = replace(found[-1], end=a.end + off)
        doubt = b.doubt[0] + off, b.doubt[1] + off
        slipped: Slipped | None = "reference" if b.slipped == "reference" else None
        found.append(replace(b, start=b.start + off, shift=b.shift - off, doubt=doubt, slipped=slipped))
    found[-1] = replace(found[-1], end=behind.end)
    return found


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
