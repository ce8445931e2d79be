"""The cheapest choice of a truth for each of a row of samples, where neighbouring choices bear on each other.

Pure arithmetic: costs in, choices and leads out; no audio.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import PIECE_SAMPLES
from assembler.aligner.concealment.marks import rows_of
from assembler.aligner.concealment.truth.bends import NOBODYS

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Bools, Float64s, Int64s

WAYS_AT_ONCE = 1 << 19
"""Ways through three neighbouring samples that are priced at once, 4 MiB: it bears on speed alone."""


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
        bends: what samples, by index, cost by their own state and those beside them: shape (states before, own states,
            states behind, samples); the same for all states of what is no sample of the row.
        starts: index of the first sample of each row, shape (rows,).
        sizes: samples in each row, shape (rows,).
    """
    totals = np.empty_like(costs)
    order = np.argsort(-sizes, kind="stable")
    # As many rows at once as stay in the processor's own memory: what samples cost is asked once, and walked twice.
    groups = np.cumsum(sizes[order]) // max(1, WAYS_AT_ONCE // len(costs) ** 3)
    for rows in np.split(order, np.flatnonzero(np.diff(groups)) + 1):
        at, running = _side_by_side(starts[rows], sizes[rows])
        ends = np.isin(at, starts[rows] + sizes[rows] - 1)
        going = np.where(ends, 0.0, links.take(at, axis=2))
        totals[:, at] = _least_of(costs.take(at, axis=1), going, bends(at), running)
    return totals


def _side_by_side(starts: Int64s, sizes: Int64s) -> tuple[Int64s, list[int]]:
    """Return the samples of rows, longer ones first: all first ones, then all second ones; and how many of each."""
    running = np.searchsorted(-sizes, -np.arange(int(sizes[0])), side="left").tolist()
    return np.concatenate([starts[:count] + place for place, count in enumerate(running)]), running


def _least_of(own: Float64s, going: Float64s, bends: Float64s, running: list[int]) -> Float64s:
    """Return the totals of rows side by side.

    Args:
        own: cost of each sample in each state, shape (states, samples).
        going: of going from a sample's state to the next one's, shape (states, states, samples).
        bends: of a sample by three states, shape (states, states, states, samples).
        running: rows that have a first, a second, a further sample.
    """
    # What all up to a sample costs, and all behind it, by its state and the next one's.
    forward, backward = np.empty_like(going), np.zeros_like(going)
    first = running[0]
    forward[..., :first] = own[:, None, :first] + bends[0, ..., :first]
    lows = [0, *accumulate(running)]
    steps = [
        (slice(low, low + count), slice(behind, behind + count))
        for low, behind, count in zip(lows, lows[1:], running[1:], strict=False)
    ]
    for last, behind in steps:
        ways = bends[..., behind] + (forward[..., last] + going[..., last])[:, :, None]
        forward[..., behind] = own[:, None, behind] + ways.min(axis=0)
    for last, behind in reversed(steps):
        ways = bends[..., behind] + (going[..., behind] + backward[..., behind])
        backward[..., last] = own[:, behind] + ways.min(axis=2)
    return np.asarray((forward + going + backward).min(axis=1), np.float64)
