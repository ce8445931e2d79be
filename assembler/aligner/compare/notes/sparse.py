"""Ranges noted block by block, but for those that lie so close together that they are the material's own.

All positions are timeline samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.compare.limits import MOST_NEAR, NEAR_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assembler.aligner.records.ranges import Range


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
        while past < len(self._waiting) and self._waiting[past][1] < known_to - NEAR_SAMPLES:
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
        if first < 0 or self._waiting[-1][0] - self._waiting[first][0] > NEAR_SAMPLES:
            return
        self._kept += self._waiting[self._settled : first]
        self._settled = len(self._waiting)
