"""What has been seen of one track, in one block and in all: ranges, counts, what says that samples were lost.

Never a sample is kept. All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.limits import LEAST_ALIKE, MOST_NEAR
from assembler.aligner.records.limits import BRIDGE_SAMPLES, HALF, READ_SAMPLES, WINDOW_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int64s


@dataclass(frozen=True)
class Shared:
    """What two passes have in common.

    Args:
        overlap: samples that both hold.
        compared: short stretches of them that sound, in the pass in which fewer do.
        identical: stretches that sound and are the same.
        differing: samples that differ.
        touched: short stretches in which some do, whether they sound or not.
        largest: by how much at most, in sample values.
    """

    overlap: int = 0
    compared: int = 0
    identical: int = 0
    differing: int = 0
    touched: int = 0
    largest: int = 0

    def __add__(self, other: Shared) -> Shared:
        """Return what they have in common in two blocks."""
        return Shared(
            self.overlap + other.overlap,
            self.compared + other.compared,
            self.identical + other.identical,
            self.differing + other.differing,
            self.touched + other.touched,
            max(self.largest, other.largest),
        )

    @property
    def is_unlike(self) -> bool:
        """Whether they hold other numbers all along; one long flaw leaves them the same beside it."""
        if LEAST_ALIKE * self.overlap < WINDOW_SAMPLES:
            return False
        is_seldom_heard = WINDOW_SAMPLES * self.compared < LEAST_ALIKE * self.overlap
        if is_seldom_heard and WINDOW_SAMPLES * self.touched <= HALF * self.overlap:
            return False
        return self.differing > 0 and self.identical < LEAST_ALIKE * max(1, self.compared)


@dataclass(frozen=True)
class TrackBlock:
    """What one block shows of a track, as it is seen: nothing is thinned out or summed up yet.

    Args:
        outvoted: of each pass, where it stands alone.
        split: of passes that hold a place, where no majority is.
        pairs: what two passes share.
        held: pass, levels that it holds, its lines.
        means: pass, where it lost samples, and how unlikely that is by nature, in nats.
        machines: of each pass, the tally of its machine.
    """

    outvoted: dict[int, list[Range]] = field(default_factory=dict)
    split: dict[tuple[int, ...], list[Range]] = field(default_factory=dict)
    pairs: dict[tuple[int, int], Shared] = field(default_factory=dict)
    held: list[tuple[int, list[Range], list[Range]]] = field(default_factory=list)
    means: list[tuple[int, Range, float]] = field(default_factory=list)
    machines: dict[int, Int64s] = field(default_factory=dict)


@dataclass
class TrackNotes:
    """What all blocks so far have shown of a track; see ``TrackBlock``."""

    outvoted: dict[int, list[Range]] = field(default_factory=dict)
    split: dict[tuple[int, ...], list[Range]] = field(default_factory=dict)
    pairs: dict[tuple[int, int], Shared] = field(default_factory=dict)
    runs: dict[int, SparseRanges] = field(default_factory=dict)
    lines: dict[int, SparseRanges] = field(default_factory=dict)
    means: dict[int, list[tuple[Range, float]]] = field(default_factory=dict)
    machines: dict[int, Int64s] = field(default_factory=dict)

    def add(self, block: TrackBlock, high: int) -> None:
        """Add what the next block shows; ``high`` is the first sample after it."""
        for index, places in block.outvoted.items():
            _add_ranges(self.outvoted.setdefault(index, []), places)
        for present, places in block.split.items():
            _add_ranges(self.split.setdefault(present, []), places)
        for pair, shared in block.pairs.items():
            self.pairs[pair] = self.pairs.get(pair, Shared()) + shared
        for index, runs, lines in block.held:
            self.runs.setdefault(index, SparseRanges()).add(runs, high)
            self.lines.setdefault(index, SparseRanges()).add(lines, high)
        for index, place, nats in block.means:
            self.means.setdefault(index, []).append((place, nats))
        for index, tally in block.machines.items():
            self.machines[index] = self.machines.get(index, np.zeros_like(tally)) + tally

    def are_unlike(self, first: int, second: int) -> bool:
        """Return whether two passes hold other numbers all along."""
        return self.pairs.get((min(first, second), max(first, second)), Shared()).is_unlike


def _add_ranges(places: list[Range], found: Sequence[Range]) -> None:
    """Append ranges in order; what is noted of two blocks is bridged as within one."""
    for start, end in found:
        if places and start - places[-1][1] <= BRIDGE_SAMPLES:
            places[-1] = places[-1][0], end
        else:
            places.append((start, end))


class SparseRanges:
    """Keeps what stands in no crowd, the same wherever blocks begin, and never more than a bounded number a second."""

    def __init__(self) -> None:
        self._kept: list[Range] = []
        self._waiting: list[Range] = []
        """Those that may be of a crowd which goes on."""
        self._settled = 0
        """Of the first so many of them it is known already whether they are kept."""

    def add(self, found: Iterable[Range], known_to: int) -> None:
        """Note what a block shows.

        Args:
            found: in order, of a block and what is read beside it: what the block before has shown may come again,
                whole or in part. Those that only touch are different ones.
            known_to: none that begins before is still to come.
        """
        for start, end in found:
            if self._waiting and start < self._waiting[-1][1]:
                self._waiting[-1] = self._waiting[-1][0], max(self._waiting[-1][1], end)
            else:
                self._waiting.append((start, end))
                self._settle_crowd()
        past = 0
        while past < len(self._waiting) and self._waiting[past][1] < known_to - READ_SAMPLES:
            past += 1
        self._kept += self._waiting[self._settled : past]
        self._waiting = self._waiting[past:]
        self._settled = max(0, self._settled - past)

    def kept(self) -> list[Range]:
        """Return the ranges in order."""
        return [*self._kept, *self._waiting[self._settled :]]

    def _settle_crowd(self) -> None:
        """Leave out what stands in a crowd that ends with the latest one; what stands before it is kept."""
        first = len(self._waiting) - MOST_NEAR - 1
        if first < 0 or self._waiting[-1][0] - self._waiting[first][0] > READ_SAMPLES:
            return
        self._kept += self._waiting[self._settled : first]
        self._settled = len(self._waiting)
