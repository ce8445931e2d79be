"""How one pass of a reel lies against another: shifts found at anchors, and the slips between them.

Positions are samples of the two passes themselves: a sample ``n`` of the *probe* pass is the same tape sample
as ``n + shift`` of the *reference* pass. Anchors stand all over the overlap, so that a slip in either pass
shows as a change of shift between two of them; its place is then found to the sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.place.anchors import find_anchors
from assembler.aligner.place.limits import ANCHOR_SAMPLES
from assembler.aligner.place.slips.borders import Border, locate_border
from assembler.aligner.place.slips.steady import find_closer, steady_runs
from assembler.arrays import median

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.place.slips.surplus import Slipped
    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range


@dataclass(frozen=True)
class RelativeStretch:
    """Probe samples ``start`` to ``end`` lie ``shift`` samples later in the reference pass.

    Args:
        start: first probe sample.
        end: first probe sample after it.
        shift: reference sample less probe sample.
        doubt: probe samples before and after ``start`` that may as well belong to the other side of the slip:
            inside a flaw of all tracks, or in silence, nothing tells where it happened.
        slipped: whose slip ``start`` is by the sound; None where that does not tell.
    """

    start: int
    end: int
    shift: int
    doubt: tuple[int, int] = (0, 0)
    slipped: Slipped | None = None


@dataclass(frozen=True)
class Relation:
    """How a probe pass lies against a reference pass.

    Args:
        stretches: in order, from the first probe sample of the overlap to the last. Between two of them lie the
            probe samples that the reference has not: none, unless it lost some or the probe repeated some.
        identical: median share of identical informative samples over the anchors.
        anchors: anchors at which a place was found.
        asked: anchors that were tried and were not silent.
        proved: range of probe samples from the first believed anchor to the last; the outer stretches go
            on to the ends of the overlap, where nothing bears witness.
        places: probe sample and shift of the believed anchors.
    """

    stretches: tuple[RelativeStretch, ...]
    identical: float
    anchors: int
    asked: int
    proved: tuple[int, int]
    places: tuple[tuple[int, int], ...] = ()


def relate(
    reference: TrackReader,
    probe: TrackReader,
    expected: Callable[[int], int],
    overlap: tuple[int, int],
    radius: int,
    strayed: Sequence[Range] = (),
) -> Relation | None:
    """Return how the probe pass lies against the reference pass, or None where no place is proved.

    Where it has ``strayed``, in its samples, it is looked at more closely.
    """
    anchors, asked = find_anchors(reference, probe, expected, overlap, radius)
    runs = steady_runs(reference, probe, anchors)
    if not runs:
        return None
    if closer := find_closer(reference, probe, runs, strayed):
        runs = steady_runs(reference, probe, sorted([*anchors, *closer], key=lambda one: one.at))
    borders = [
        locate_border(reference, probe, (left[-1].at, right[0].end), (left[-1].shift, right[0].shift))
        for left, right in pairwise(runs)
    ]
    stretches = stretches_between(borders, [run[0].shift for run in runs], overlap)
    share = median([anchor.identical for anchor in anchors])
    proved = runs[0][0].at, runs[-1][-1].end
    places = tuple(
        (anchor.at, anchor.shift) for run in runs for anchor in run if anchor.samples == ANCHOR_SAMPLES
    )
    return Relation(stretches, share, len(anchors), asked, proved, places)


def stretches_between(
    borders: Sequence[Border], shifts: Sequence[int], overlap: Range
) -> tuple[RelativeStretch, ...]:
    """Return the stretches of an overlap between borders, each at its shift, without empty ones."""
    first = Border(overlap[0], overlap[0], (0, 0))
    ends = [*(border.end for border in borders), overlap[1]]
    return tuple(
        RelativeStretch(border.start, end, shift, border.doubt, border.slipped)
        for shift, border, end in zip(shifts, (first, *borders), ends, strict=True)
        if border.start < end
    )
