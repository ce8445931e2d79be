"""The cheapest choice of a truth for each of a row of samples, where neighbouring choices bear on each other.

Pure arithmetic: costs in, choices and leads out; no audio.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import PIECE_SAMPLES
from assembler.aligner.concealment.marks import rows_of

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s, Int64s


@dataclass(frozen=True)
class States:
    """What the truth of each sample may be: one of the values that captures have there, or, last, nobody's.

    Captures that hold the same are one state, so that the work grows with what differs and not with who agrees. Samples
    with fewer values than the most have states that are none in between.

    Args:
        captures: the first that has the value, shape (states, samples); how many there are, where nobody has it.
        values: same shape; the least number there is where nobody has it.
        lost: which captures lost the sample in each state, shape (captures, states, samples).
    """

    captures: Int64s
    values: Int64s
    lost: Bools


def distinct_states(values: Int64s, present: Bools) -> States:
    """Return the states of samples.

    Args:
        values: of each capture, shape (captures, samples).
        present: where a capture holds samples at all, same shape.
    """
    count, size = values.shape
    first = present.copy()
    for number in range(1, count):
        for other in range(number):
            first[number] &= ~(present[other] & (values[other] == values[number]))
    places = first.cumsum(axis=0) - 1
    captures = np.full((int(places.max()) + 2, size), count, np.int64)
    owners, samples = np.nonzero(first)
    captures[places[owners, samples], samples] = owners
    known = np.concatenate([values, np.full((1, size), np.iinfo(np.int64).min)])
    found = known[captures, np.arange(size)]
    return States(captures, found, (found != values[:, None]) & present[:, None])


def rows_at(at: Int64s) -> tuple[Int64s, Int64s]:
    """Return where rows of adjacent samples begin, as indices, and how long each is; long ones are cut."""
    starts, sizes = rows_of(at)
    pieces = -(-sizes // PIECE_SAMPLES)
    offsets = np.arange(int(pieces.sum())) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    cut = np.repeat(starts, pieces) + offsets * PIECE_SAMPLES
    ends = np.repeat(starts + sizes, pieces)
    return cut, np.minimum(PIECE_SAMPLES, ends - cut)


def least_totals(costs: Float64s, links: Float64s, starts: Int64s, sizes: Int64s) -> Float64s:
    """Return for each sample and state what the cheapest row costs that has the sample in that state.

    Args:
        costs: of each sample in each state, shape (states, samples).
        links: of going from a sample's state to the next one's, shape (states, states, samples); unused at ends.
        starts: index of the first sample of each row, shape (rows,).
        sizes: samples in each row, shape (rows,).
    """
    order = np.argsort(-sizes, kind="stable")
    first, size = starts[order], sizes[order]
    # Rows are walked side by side, longer ones first: all first samples stand together, then all second ones.
    running = np.searchsorted(-size, -np.arange(int(size[0])), side="left")
    at = np.concatenate([first[:count] + place for place, count in enumerate(running.tolist())])
    ends = np.cumsum(running)
    steps = list(zip((ends - running).tolist(), ends.tolist(), strict=True))
    own, going = costs.T[at], np.moveaxis(links, 2, 0)[at]
    forward, backward = own.copy(), np.zeros_like(own)
    for (before, _), (low, high) in pairwise(steps):
        behind = slice(before, before + high - low)
        forward[low:high] += (forward[behind][:, :, None] + going[behind]).min(axis=1)
    for (before, _), (low, high) in reversed(list(pairwise(steps))):
        behind = slice(before, before + high - low)
        backward[behind] = (going[behind] + (own[low:high] + backward[low:high])[:, None, :]).min(axis=2)
    totals = np.empty_like(costs)
    totals[:, at] = (forward + backward).T
    return totals
