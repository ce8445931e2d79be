"""From edges to words: sync words, bit cells, bits.

Each bit cell begins with an edge, and a one has another in its middle. Twelve ones in a row stand only in the sync
word: 24 short intervals between long ones, which can be found at any speed, and whose order of neighbours
tells the direction. The sync word then says how long a cell is, and the 64 cells before it are read by that.
As each word has its own measure, the speed may change from word to word.

Source: SMPTE ST 12-1, linear time code: biphase mark modulation, sync word.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.ltc.word import DATA_BITS, SYNC, WORD_BITS

if TYPE_CHECKING:
    from assembler.arrays import Bools, Bytes, Float64s, Int64s

# The sync word in intervals, from the first of the two zeros it starts with: half cells each one lasts.
_SYNC_INTERVALS: Final = np.concatenate([[1, 1] if bit else [2] for bit in SYNC])
# The edges of the sync word, counted from its first, that begin or end a cell.
_SYNC_CELLS: Final = np.concatenate(([0], np.cumsum([2 if bit else 1 for bit in SYNC])))
_RUN: Final = 24
_BEFORE_RUN: Final = 2
_HALVES: Final = 2 * DATA_BITS
# Shares of a half cell. Short and long meet half-way between one and two.
_SHORTEST: Final = 0.5
_BORDER: Final = 1.5
_LONGEST: Final = 3.0
_CELLS: Final = np.arange(WORD_BITS + 1) - WORD_BITS / 2
_QUARTER_CELLS: Final = WORD_BITS // 4


@dataclass(frozen=True)
class Words:
    """Words and where they lie.

    Args:
        words: shape (n, 10), see `word`.
        starts: shape (n,), where the first cell of each word begins.
        ends: shape (n,), where its last cell ends; before the start if the stripe ran backwards.
        quarters: shape (n, 4), mean place of the 21 edges that bound each quarter's cells: the middles of quarters.
    """

    words: Bytes
    starts: Float64s
    ends: Float64s
    quarters: Float64s

    def take(self, chosen: Bools | Int64s) -> Words:
        """Return the chosen words."""
        return Words(self.words[chosen], self.starts[chosen], self.ends[chosen], self.quarters[chosen])

    def move(self, distance: float) -> Words:
        """Return the words at places later by a distance."""
        return Words(self.words, self.starts + distance, self.ends + distance, self.quarters + distance)


def join_words(parts: list[Words]) -> Words:
    """Return all words in order of place."""
    joined = Words(
        np.concatenate([part.words for part in parts]),
        np.concatenate([part.starts for part in parts]),
        np.concatenate([part.ends for part in parts]),
        np.concatenate([part.quarters for part in parts]),
    )
    return joined.take(np.argsort(joined.starts, kind="stable"))


def find_words(edges: Float64s) -> Words:
    """Return the words told by edges, run forwards or backwards.

    Args:
        edges: shape (n,), places in rising order; each a change to the other level.
    """
    forwards = _find_forwards(edges)
    backwards = _find_forwards(-edges[::-1])
    turned = Words(backwards.words, -backwards.starts, -backwards.ends, -backwards.quarters)
    return join_words([forwards, turned])


def _find_forwards(edges: Float64s) -> Words:
    intervals = np.diff(edges)
    syncs = _find_syncs(intervals)
    half = (edges[syncs + _SYNC_INTERVALS.size] - edges[syncs]) / (2 * len(SYNC))
    places = _place_halves(edges, syncs, half)
    # Each cell must begin with an edge; the sync word's own are known to be there.
    whole = (places[:, ::2] >= 0).all(axis=1)
    syncs, places = syncs[whole], places[whole]
    bits = np.zeros((syncs.size, WORD_BITS), dtype=np.bool_)
    bits[:, :DATA_BITS] = places[:, 1::2] >= 0
    bits[:, DATA_BITS:] = SYNC
    bounds = np.concatenate((places[:, :-1:2], syncs[:, None] + _SYNC_CELLS), axis=1)
    return _measure(np.packbits(bits, axis=1, bitorder="little"), edges, bounds)


def _find_syncs(intervals: Float64s) -> Int64s:
    """Return the index of the edge that each sync word begins with."""
    after = _SYNC_INTERVALS.size - _BEFORE_RUN
    if intervals.size < _SYNC_INTERVALS.size:
        return np.zeros(0, dtype=np.int64)
    run = np.arange(_BEFORE_RUN, intervals.size - after + 1)
    # Only where a short follows a long and a long a short is the whole shape worth looking at.
    likely = (intervals[run - 1] > intervals[run]) & (intervals[run + _RUN] > intervals[run + _RUN - 1])
    start = run[likely] - _BEFORE_RUN
    shape = intervals[start[:, None] + np.arange(_SYNC_INTERVALS.size)]
    # Measured by the whole word: a long interval in the run would stretch it too little to pass for a short one.
    shape = shape * (_SYNC_INTERVALS.sum() / shape.sum(axis=1, keepdims=True))
    lowest = np.where(_SYNC_INTERVALS == 1, _SHORTEST, _BORDER)
    highest = np.where(_SYNC_INTERVALS == 1, _BORDER, _LONGEST)
    fits = ((shape > lowest) & (shape < highest)).all(axis=1)
    return np.asarray(start[fits], dtype=np.int64)


def _place_halves(edges: Float64s, syncs: Int64s, half: Float64s) -> Int64s:
    """Return for each half cell of the data before a sync word the edge it begins with, or -1 where there is none.

    Shape (syncs, 129): the last is the sync word's first edge. Edges are walked from there backwards, each interval
    counting one half cell or two; one that is neither leads nowhere.
    """
    index = syncs[:, None] - np.arange(_HALVES + 1)
    walk = np.where(index >= 0, edges[np.maximum(index, 0)], np.nan)
    share = (walk[:, :-1] - walk[:, 1:]) / half[:, None]
    steps = np.where(share < _BORDER, 1, 2)
    steps[~((share > _SHORTEST) & (share < _LONGEST))] = _HALVES + 1
    walked = np.concatenate((np.zeros((syncs.size, 1), dtype=np.int64), np.cumsum(steps, axis=1)), axis=1)
    rows, columns = np.nonzero(walked <= _HALVES)
    places = np.full((syncs.size, _HALVES + 1), -1, dtype=np.int64)
    places[rows, _HALVES - walked[rows, columns]] = index[rows, columns]
    return places


def _measure(words: Bytes, edges: Float64s, bounds: Int64s) -> Words:
    """Return words with their places.

    Rising and falling edges of a stripe may be displaced against each other (an offset, a slow rise): how much is
    measured in each word and taken off. Start and end are those of the straight line through all bounds.
    """
    times = edges[bounds]
    rising = np.where(bounds % 2 == 0, 1.0, -1.0)
    uneven = _straighten(rising)
    share = (uneven * times).sum(axis=1) / np.maximum((uneven * uneven).sum(axis=1), 1.0)
    times = times - share[:, None] * rising
    middle = times.mean(axis=1)
    reach = (times @ _CELLS) / (_CELLS @ _CELLS) * WORD_BITS / 2
    first = np.arange(0, WORD_BITS, _QUARTER_CELLS)
    quarters = times[:, first[:, None] + np.arange(_QUARTER_CELLS + 1)].mean(axis=2)
    return Words(words, middle - reach, middle + reach, quarters)


def _straighten(rows: Float64s) -> Float64s:
    """Return rows less the straight line through each."""
    level = rows.mean(axis=1, keepdims=True)
    slope = (rows @ _CELLS)[:, None] / (_CELLS @ _CELLS)
    return np.asarray(rows - level - slope * _CELLS, dtype=np.float64)
