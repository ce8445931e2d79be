"""Single samples of a stretch as runs ``(first, step, count)``: every second one for a while, and the like.

A list of positions as long as a stretch would not fit a record, nor a block's memory.
"""

from __future__ import annotations

from bisect import bisect_right
from math import gcd
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.ranges import Range
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

    def has_twice(self, most: int) -> bool:
        """Return whether a position is in two runs. Nothing is laid out: runs may be as long as they like.

        Args:
            most: pairs of runs that are looked at; the work grows with their number, where they lie across each other.

        Raises:
            ValueError: more pairs lie across each other.
        """
        last = self._first + self._step * (self._count - 1)
        behind = np.searchsorted(self._first, last, side="right").tolist()
        runs: list[Run] = list(
            zip(*(row.tolist() for row in (self._first, self._step, self._count)), strict=True)
        )
        pairs = 0
        for number, run in enumerate(runs):
            others = runs[number + 1 : behind[number]]
            pairs += len(others)
            if pairs > most:
                raise ValueError(f"more than {most} pairs of runs lie across each other")
            if any(_meet(run, other) for other in others):
                return True
        return False

    def _pieces(self, low: int, high: int) -> tuple[Int64s, Int64s, Int64s]:
        """Return first position, step and count of what each run has in a range."""
        rows = slice(int(np.searchsorted(self._reach, low)), int(np.searchsorted(self._first, high)))
        first, step, count = self._first[rows], self._step[rows], self._count[rows]
        skipped = np.maximum(0, -((first - low) // step))
        sizes = np.maximum(0, np.minimum(count, -((first - high) // step)) - skipped)
        return first + skipped * step, step, sizes


def _meet(run: Run, other: Run) -> bool:
    """Return whether two runs, the one that begins first first, have a position in common."""
    (first, step, count), (start, stride, number) = run, other
    shared = gcd(step, stride)
    if (start - first) % shared:
        return False
    cycle = stride // shared
    # Steps of the first run to a position of the other's pattern, which recurs after each cycle.
    steps = (start - first) // shared * pow(step // shared, -1, cycle) % cycle
    least = -((first - start) // step)
    steps += -((steps - least) // cycle) * cycle if steps < least else 0
    return first + step * steps <= min(first + step * (count - 1), start + stride * (number - 1))


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
    """Return the range from the first position to after the last one; ``runs`` is not empty."""
    return min(run[0] for run in runs), max(first + step * (count - 1) for first, step, count in runs) + 1


def size_of(runs: Iterable[Run]) -> int:
    """Return how many positions the runs have."""
    return sum(count for _, _, count in runs)
