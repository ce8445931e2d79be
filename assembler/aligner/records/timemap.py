"""Time maps: where on the timeline each sample of a pass belongs.

A time map is a row of stretches. Inside a stretch the shift between pass sample and timeline is one whole
number; a slip (samples lost or repeated in capture) starts a new stretch. Stretches are in order and never
overlap, neither in the pass nor on the timeline: where samples were repeated, the repeats are left out.
Ranges are ``start``, ``end``, end excluded. All positions are whole samples.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.errors import PlanError

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True)
class Stretch:
    """Pass samples ``pass_start`` to ``pass_end`` lie on the timeline from ``timeline_start`` on."""

    pass_start: int
    pass_end: int
    timeline_start: int

    @property
    def shift(self) -> int:
        """Timeline sample minus pass sample."""
        return self.timeline_start - self.pass_start

    @property
    def timeline_end(self) -> int:
        """First timeline sample after the stretch."""
        return self.timeline_start + self.pass_end - self.pass_start


@dataclass(frozen=True)
class Slip:
    """Samples lost (positive) or repeated (negative) at one place of a pass.

    ``pass_sample`` is the first pass sample after the place: the first one after a loss, or the first of the
    repeated ones. ``doubt`` is the pass range in which the place may lie as well; it need not be empty.
    """

    pass_sample: int
    samples: int
    doubt: tuple[int, int] = field(default=(0, 0), compare=False)


@dataclass(frozen=True)
class TimeMap:
    """The stretches of one pass, in order.

    Args:
        stretches: in order, not overlapping.
        doubtful: pass ranges around slips that may as well belong to the other side of their slip.

    Raises:
        PlanError: a stretch is empty, or two overlap.
    """

    stretches: tuple[Stretch, ...]
    doubtful: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        """Refuse maps that would give a sample two places."""
        for stretch in self.stretches:
            if stretch.pass_end <= stretch.pass_start:
                raise PlanError(f"time map: stretch {stretch} is empty")
        for before, after in pairwise(self.stretches):
            if after.pass_start < before.pass_end or after.timeline_start < before.timeline_end:
                raise PlanError(f"time map: stretches {before} and {after} overlap")

    @property
    def start(self) -> int:
        """First timeline sample covered."""
        return self.stretches[0].timeline_start

    @property
    def end(self) -> int:
        """First timeline sample after the last one covered."""
        return self.stretches[-1].timeline_end

    def moved(self, samples: int) -> TimeMap:
        """Return the same map, ``samples`` later on the timeline."""
        return TimeMap(
            tuple(Stretch(s.pass_start, s.pass_end, s.timeline_start + samples) for s in self.stretches),
            self.doubtful,
        )

    def covering(self, start: int, end: int) -> tuple[Stretch, ...]:
        """Return the stretches inside the timeline range ``start`` to ``end``, cut to it."""
        found = []
        for stretch in self.stretches:
            first, last = max(start, stretch.timeline_start), min(end, stretch.timeline_end)
            if first < last:
                found.append(Stretch(first - stretch.shift, last - stretch.shift, first))
        return tuple(found)

    def cut_to(self, pass_length: int) -> TimeMap:
        """Return the map of a track that holds only ``pass_length`` samples."""
        kept = tuple(
            Stretch(s.pass_start, min(s.pass_end, pass_length), s.timeline_start)
            for s in self.stretches
            if s.pass_start < pass_length
        )
        return TimeMap(kept, self.doubtful)

    def pass_ranges(self, start: int, end: int) -> tuple[tuple[int, int], ...]:
        """Return the pass ranges that lie in the timeline range ``start`` to ``end``."""
        return tuple((s.pass_start, s.pass_end) for s in self.covering(start, end))

    def pass_reach(self, start: int, end: int) -> tuple[int, int] | None:
        """Return the pass range from the first sample to the last that lies in a timeline range; None where none does.

        Samples that the pass repeated at a slip in between belong to it.
        """
        ranges = self.pass_ranges(start, end)
        return (ranges[0][0], ranges[-1][1]) if ranges else None

    def timeline_ranges(self, start: int, end: int) -> tuple[tuple[int, int], ...]:
        """Return the timeline ranges on which the pass range ``start`` to ``end`` lies."""
        found = []
        for stretch in self.stretches:
            first, last = max(start, stretch.pass_start), min(end, stretch.pass_end)
            if first < last:
                found.append((first + stretch.shift, last + stretch.shift))
        return tuple(found)

    def doubts(self) -> tuple[tuple[list[tuple[int, int]], list[tuple[int, int]]], ...]:
        """Return for each doubtful range where on the timeline it lies, and what was lost at its slip."""
        return tuple(
            (
                list(self.timeline_ranges(start, end)),
                [
                    (a.timeline_end, b.timeline_start)
                    for a, b in pairwise(self.stretches)
                    if start <= a.pass_end <= end and a.timeline_end < b.timeline_start
                ],
            )
            for start, end in self.doubtful
        )

    def lost(self) -> list[tuple[int, int]]:
        """Return the timeline ranges that were lost between the stretches."""
        borders = ((a.timeline_end, b.timeline_start) for a, b in pairwise(self.stretches))
        return [(start, end) for start, end in borders if start < end]

    def slips(self) -> tuple[Slip, ...]:
        """Return the slips between the stretches, as ``map_with_slips`` takes them."""
        return tuple(Slip(a.pass_end, b.shift - a.shift) for a, b in pairwise(self.stretches))


def map_with_slips(length: int, timeline_start: int, slips: Iterable[Slip]) -> TimeMap:
    """Return the map of a pass of ``length`` samples whose first sample lies at ``timeline_start``.

    Args:
        length: samples in the pass.
        timeline_start: timeline sample of the pass's first sample.
        slips: in order, one at once after what another repeated if need be; after lost samples the rest lies later,
            after repeated ones the first sample after the place starts as many samples later in the pass. One that
            leaves no stretch before or behind it is left out.
    """
    stretches: list[Stretch] = []
    doubtful: list[tuple[int, int]] = []
    start, shift = 0, timeline_start
    for slip in slips:
        behind = slip.pass_sample + max(0, -slip.samples)
        follows = bool(stretches) and start == slip.pass_sample
        if behind >= length or not (start < slip.pass_sample or follows):
            continue
        if not follows:
            stretches.append(Stretch(start, slip.pass_sample, start + shift))
        if slip.doubt[0] < slip.doubt[1]:
            doubtful.append(slip.doubt)
        start, shift = behind, shift + slip.samples
    if start < length:
        stretches.append(Stretch(start, length, start + shift))
    return TimeMap(tuple(stretches), tuple(doubtful))
