"""The cheapest choice of a truth for each of a row of samples, where neighbouring choices bear on each other.

Pure arithmetic: costs in, choices and leads out; no audio.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.bends import NOBODYS
from assembler.aligner.concealment.limits import PIECE_SAMPLES
from assembler.aligner.concealment.marks import rows_of

if TYPE_CHECKING:
    from collections.abc import Callable

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
        firsts: which captures are the first that have their value, shape (captures, samples).
    """

    captures: Int64s
    values: Int64s
    lost: Bools
    firsts: Bools


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
    known = np.concatenate([values, np.full((1, size), NOBODYS)])
    found = known[captures, np.arange(size)]
    return States(captures, found, (found != values[:, None]) & present[:, None], first)


def rows_at(at: Int64s) -> tuple[Int64s, Int64s]:
    """Return where rows of adjacent samples begin, as indices, and how long each is; long ones are cut."""
    starts, sizes = rows_of(at)
    pieces = -(-sizes // PIECE_SAMPLES)
    offsets = np.arange(int(pieces.sum())) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    cut = np.repeat(starts, pieces) + offsets * PIECE_SAMPLES
    ends = np.repeat(starts + sizes, pieces)
    return cut, np.minimum(PIECE_SAMPLES, ends - cut)


def least_totals(
    costs: Float64s, links: Float64s, bends: Callable[[Int64s], Float64s], starts: Int64s, sizes: Int64s
) -> Float64s:
    """Return for each sample and state what the cheapest row costs that has the sample in that state.

    Args:
        costs: of each sample in each state, shape (states, samples).
        links: of going from a sample's state to the next one's, shape (states, states, samples); unused at ends.
        bends: what samples, by index, cost by their own state and those beside them: shape (samples, states before,
            own states, states behind); the same for all states of what is no sample of the row.
        starts: index of the first sample of each row, shape (rows,).
        sizes: samples in each row, shape (rows,).
    """
    order = np.argsort(-sizes, kind="stable")
    first, size = starts[order], sizes[order]
    # Rows are walked side by side, longer ones first: all first samples stand together, then all second ones.
    running = np.searchsorted(-size, -np.arange(int(size[0])), side="left")
    at = np.concatenate([first[:count] + place for place, count in enumerate(running.tolist())])
    ends = np.cumsum(running)
    steps = [slice(low, high) for low, high in zip((ends - running).tolist(), ends.tolist(), strict=True)]
    own, going = costs.T[at], np.moveaxis(links, 2, 0)[at]
    going[np.isin(at, starts + sizes - 1)] = 0.0
    # What all up to a sample costs, and all behind it, by its state and the next one's.
    forward, backward = np.empty_like(going), np.zeros_like(going)
    forward[steps[0]] = own[steps[0], :, None] + bends(at[steps[0]])[:, 0]
    for before, behind in pairwise(steps):
        last = slice(before.start, before.start + behind.stop - behind.start)
        ways = (forward[last] + going[last])[:, :, :, None] + bends(at[behind])
        forward[behind] = own[behind, :, None] + ways.min(axis=1)
    for before, behind in reversed(list(pairwise(steps))):
        last = slice(before.start, before.start + behind.stop - behind.start)
        ways = bends(at[behind]) + (going[behind] + backward[behind])[:, None]
        backward[last] = own[behind, None] + ways.min(axis=3)
    totals = np.empty_like(costs)
    totals[:, at] = (forward + going + backward).min(axis=2).T
    return totals
