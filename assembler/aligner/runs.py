"""Single samples of a stretch as runs ``(first, step, count)``: every second one for a while, and the like.

A list of positions as long as a stretch would not fit a record, nor a block's memory.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.ranges import Range
    from assembler.arrays import Int64s

Run: TypeAlias = tuple[int, int, int]
"""First position, step from one to the next, how many."""


class Runs:
    """Runs, ready to be asked for the positions in a range.

    Args:
        runs: in any order; steps and counts from 1 on. They may lie across each other.
    """

    def __init__(self, runs: Iterable[Run]) -> None:
        rows = np.array(sorted(runs), np.int64).reshape(-1, 3)
        self._first, self._step, self._count = rows.T
        self._reach = np.maximum.accumulate(self._first + self._step * (self._count - 1))

    def within(self, low: int, high: int) -> Int64s:
        """Return the positions from ``low`` up to ``high``, in order, shape (n,)."""
        starts, steps, sizes = self._pieces(low, high)
        behind = np.cumsum(sizes)
        number = np.arange(int(sizes.sum())) - np.repeat(behind - sizes, sizes)
        return np.sort(np.repeat(starts, sizes) + number * np.repeat(steps, sizes))

    def has_twice(self, low: int, high: int) -> bool:
        """Return whether a position from ``low`` up to ``high`` is in two runs, in memory for that many."""
        # More positions than there is room for need not be laid out.
        if int(self._pieces(low, high)[2].sum()) > high - low:
            return True
        return not np.diff(self.within(low, high)).all()

    def _pieces(self, low: int, high: int) -> tuple[Int64s, Int64s, Int64s]:
        """Return first position, step and count of what each run has in a range."""
        rows = slice(int(np.searchsorted(self._reach, low)), int(np.searchsorted(self._first, high)))
        first, step, count = self._first[rows], self._step[rows], self._count[rows]
        skipped = np.maximum(0, -((first - low) // step))
        sizes = np.maximum(0, np.minimum(count, -((first - high) // step)) - skipped)
        return first + skipped * step, step, sizes


def runs_of(positions: Int64s) -> list[Run]:
    """Return positions, in order and none twice, as runs in order of which none reaches into the next."""
    steps = np.diff(positions)
    turns = [*(np.flatnonzero(np.diff(steps)) + 1).tolist(), steps.size]
    runs: list[Run] = []
    at = 0
    while at < steps.size:
        last = turns[bisect_right(turns, at)]
        runs.append((int(positions[at]), int(steps[at]), last - at + 1))
        at = last + 1
    if at < positions.size:
        runs.append((int(positions[at]), 1, 1))
    return runs


def joined_runs(runs: Iterable[Run]) -> list[Run]:
    """Return runs in order, those as one that go on from each other in step."""
    joined: list[Run] = []
    for first, step, count in runs:
        if joined and joined[-1][1] == step and joined[-1][0] + step * joined[-1][2] == first:
            joined[-1] = (joined[-1][0], step, joined[-1][2] + count)
        else:
            joined.append((first, step, count))
    return joined


def extent_of(runs: Sequence[Run]) -> Range:
    """Return the range from the first position to behind the last one; ``runs`` is not empty."""
    return min(run[0] for run in runs), max(first + step * (count - 1) for first, step, count in runs) + 1


def size_of(runs: Iterable[Run]) -> int:
    """Return how many positions the runs have."""
    return sum(count for _, _, count in runs)
