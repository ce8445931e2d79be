"""Ranges of samples as ``(start, end)`` pairs, end excluded: joining, cutting, finding them in masks."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from assembler.arrays import distinct

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.arrays import Bools, Int64s

Range: TypeAlias = tuple[int, int]


def ranges_of(mask: Bools, *, offset: int = 0, bridge: int = 0, least: int = 1) -> list[Range]:
    """Return the ranges where ``mask`` is true.

    Args:
        mask: shape (n,).
        offset: added to every position.
        bridge: ranges with a gap of at most this many samples between them are joined into one.
        least: shorter ranges are left out.
    """
    if not mask.any():
        return []
    padded = np.zeros(mask.size + 2, np.bool_)
    padded[1:-1] = mask
    edges = np.flatnonzero(padded[1:] != padded[:-1]) + offset
    starts, ends = edges[::2], edges[1::2]
    if bridge:
        apart = starts[1:] - ends[:-1] > bridge
        starts, ends = starts[np.append(True, apart)], ends[np.append(apart, True)]
    if least > 1:
        long = ends - starts >= least
        starts, ends = starts[long], ends[long]
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def covering(ranges: Iterable[Range], low: int, size: int) -> Bools:
    """Return which samples from ``low`` on lie in some ranges, shape (size,)."""
    here = np.zeros(size, np.bool_)
    for start, end in ranges:
        here[start - low : end - low] = True
    return here


def has_full_word(mask: Bools) -> bool:
    """Return whether eight samples in a row that begin at a multiple of eight are all marked."""
    whole = np.ascontiguousarray(mask[: mask.size // 8 * 8])
    return bool((whole.view(np.uint64) == np.uint64(0x0101010101010101)).any())


def merged(ranges: Iterable[Range], *, bridge: int = 0) -> list[Range]:
    """Return the union of ``ranges`` in order; gaps of at most ``bridge`` samples are closed."""
    joined: list[Range] = []
    for start, end in sorted(ranges):
        if joined and start <= joined[-1][1] + bridge:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined


def common(first: Sequence[Range], second: Sequence[Range]) -> list[Range]:
    """Return the ranges that lie in both; each input in order and without overlaps."""
    found: list[Range] = []
    if not first or not second:
        return found
    # One place is often held against the many stretches of a pass.
    i = bisect_right(first, second[0][0], key=lambda one: one[1]) if len(first) > 1 else 0
    j = bisect_right(second, first[0][0], key=lambda one: one[1]) if len(second) > 1 else 0
    while i < len(first) and j < len(second):
        start, end = max(first[i][0], second[j][0]), min(first[i][1], second[j][1])
        if start < end:
            found.append((start, end))
        if first[i][1] <= second[j][1]:
            i += 1
        else:
            j += 1
    return found


def without(ranges: Sequence[Range], holes: Sequence[Range]) -> list[Range]:
    """Return ``ranges`` less ``holes``; each input in order and without overlaps."""
    left: list[Range] = []
    for start, end in ranges:
        at = start
        for number in range(bisect_right(holes, start, key=lambda hole: hole[1]), len(holes)):
            hole_start, hole_end = holes[number]
            if hole_start >= end:
                break
            if hole_start > at:
                left.append((at, hole_start))
            at = max(at, hole_end)
        if at < end:
            left.append((at, end))
    return left


def ranges_at(ranges: Sequence[Range], border: int) -> Sequence[Range]:
    """Return those of ranges in order and without overlaps that hold a border, or begin or end there."""
    first = bisect_left(ranges, border, key=lambda one: one[1])
    return ranges[first : bisect_right(ranges, border, key=lambda one: one[0])]


def edges_within(reach: Range, ranges: Iterable[Range]) -> Int64s:
    """Return all places within a reach where ranges begin or end, and its own ends, in order; shape (n,)."""
    edges = distinct(np.array([reach, *ranges], np.int64))
    return edges[(reach[0] <= edges) & (edges <= reach[1])]


def are_inside(edges: Int64s, ranges: Sequence[Range]) -> Bools:
    """Return for each piece between two edges, in order, whether it lies in some ranges; shape (edges - 1,).

    Ranges begin and end at edges, or beyond the outer ones.
    """
    steps = np.zeros(edges.size + 1, np.int64)
    places = np.array(ranges, np.int64).reshape(-1, 2).clip(edges[0], edges[-1])
    for column, step in ((0, 1), (1, -1)):
        np.add.at(steps, np.searchsorted(edges, places[:, column]), step)
    return np.asarray(np.cumsum(steps)[: edges.size - 1] > 0, np.bool_)


def total(ranges: Iterable[Range]) -> int:
    """Return how many samples the ranges hold."""
    return sum(end - start for start, end in ranges)


def pieces_of(ranges: Iterable[Range], longest: int) -> list[Range]:
    """Return the ranges cut into pieces of at most so many samples."""
    return [(low, min(end, low + longest)) for start, end in ranges for low in range(start, end, longest)]


def range_around(ranges: Sequence[Range], place: Range) -> Range | None:
    """Return the range, of disjoint ones in order, that holds a whole place; None where none does."""
    number = bisect_right(ranges, place[0], key=lambda one: one[0]) - 1
    return ranges[number] if number >= 0 and place[1] <= ranges[number][1] else None
