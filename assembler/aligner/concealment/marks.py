"""Which samples of a capture are what concealment puts in the place of a lost one, by the rule of its machine.

Published rule of concealment (US patent 4,641,309, 1987; J. Watkinson, The Art of Digital Audio): one missing sample
between two good ones becomes their mean; of several in a row all but the last hold the last good one, and the last is
the mean of what is held and the next good one. Some machines hold throughout, or draw a straight line (common practice,
no source). Halves are rounded one way by one machine. So each sample that was put in is told by its neighbours alone.

Audio is ``int64``, in sample values, shape ``(samples,)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import LEAST_TALLY, RULE_RATIO

if TYPE_CHECKING:
    from assembler.arrays import Bools, Int64s

DOWN, UP, TOWARDS_ZERO = 0, 1, 2
ROUNDINGS = (DOWN, UP, TOWARDS_ZERO)

TALLY_COUNTS = 7
"""Counts of a tally."""

MEANS, HOLDS, LINES = "means", "holds", "lines"
"""What a machine makes of several lost samples in a row: holds up to a mean, holds throughout, or a straight line."""


@dataclass(frozen=True)
class Machine:
    """How the machine of a pass conceals.

    Args:
        roundings: the ways in which it may round halves.
        rule: MEANS, HOLDS or LINES.
    """

    roundings: tuple[int, ...] = ROUNDINGS
    rule: str = MEANS


@dataclass(frozen=True)
class Marks:
    """What each sample may be, by its neighbours in the same capture.

    Args:
        mean: whether it lies in the middle of its neighbours, shape (samples,).
        held: whether it is its predecessor again, shape (samples,).
    """

    mean: Bools
    held: Bools


def marks_of(samples: Int64s, step: int, machine: Machine) -> Marks:
    """Return what each sample may be; the first and the last have too few neighbours to be anything.

    Args:
        samples: one capture.
        step: one step of the tape's word length, in sample values: means are rounded to it.
        machine: that it was played on.
    """
    mean, held = np.zeros(samples.size, np.bool_), np.zeros(samples.size, np.bool_)
    inner, sums = samples[1:-1], samples[:-2] + samples[2:]
    if machine.rule == LINES:
        mean[1:-1] = np.abs(sums - 2 * inner) <= step
    elif machine.rule == MEANS:
        for rounding in machine.roundings:
            mean[1:-1] |= inner == rounded_half(sums, step, rounding)
    if machine.rule != LINES:
        held[1:] = samples[1:] == samples[:-1]
    return Marks(mean, held)


def rounded_half(sums: Int64s, step: int, rounding: int) -> Int64s:
    """Return half of each sum, in whole steps, rounded one way."""
    down = sums // (2 * step) * step
    if rounding == DOWN:
        return down
    up = -(-sums // (2 * step)) * step
    return up if rounding == UP else np.where(sums > 0, down, up)


def tally_machine(samples: Int64s, at: Int64s, step: int) -> Int64s:
    """Return what differing samples of a capture say of its machine, as counts, shape (7,).

    The first three: means by each way of rounding, where the ways differ. Then single means, levels that are held and
    broken off, levels held up to a mean, and samples that go on straight.

    Args:
        samples: one capture.
        at: positions to look at, in order, each with two samples on either side.
        step: one step of the tape's word length.
    """
    sums = samples[at - 1] + samples[at + 1]
    ways = [rounded_half(sums, step, rounding) for rounding in ROUNDINGS]
    differ = ways[DOWN] != ways[UP]
    counts = [np.count_nonzero(differ & (samples[at] == way)) for way in ways]
    differs = np.zeros(samples.size, np.bool_)
    differs[at] = True
    next_differs = differs[at + 1]
    straight = np.abs(sums - 2 * samples[at]) <= step
    straight_next = np.abs(samples[at] + samples[at + 2] - 2 * samples[at + 1]) <= step
    held, held_next = samples[at] == samples[at - 1], samples[at + 1] == samples[at]
    # Sound that holds levels by nature does so for longer.
    held_once = held & (samples[at - 1] != samples[at - 2])
    counts += [
        np.count_nonzero(straight & ~held & ~next_differs),
        np.count_nonzero(held_once & ~straight & ~straight_next & ~held_next),
        np.count_nonzero(held & ~straight & next_differs & straight_next),
        np.count_nonzero(straight & ~held & next_differs & straight_next & ~held_next),
    ]
    return np.array(counts, np.int64)


def likely_machine(tally: Int64s) -> Machine:
    """Return how a machine conceals by what was counted; where too little was, any rounding by the published rule."""
    best = int(tally[:3].argmax())
    roundings = (best,) if tally[best] >= LEAST_TALLY else ROUNDINGS
    single, broken, up_to_mean, straight = tally[3:]
    if broken >= LEAST_TALLY and broken > RULE_RATIO * (single + up_to_mean):
        return Machine(roundings, HOLDS)
    if straight >= LEAST_TALLY and straight > RULE_RATIO * up_to_mean:
        return Machine(roundings, LINES)
    return Machine(roundings)
