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

from assembler.aligner.concealment.limits import LONGEST_RUN
from assembler.aligner.records.limits import CLEARLY, LEAST_TELLING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Bools, Int32s, Int64s

DOWN, UP, TOWARDS_ZERO = 0, 1, 2
ROUNDINGS = (DOWN, UP, TOWARDS_ZERO)

TALLY_COUNTS = 8
"""Counts of a tally."""

MEAN, HELD = "mean", "held"
"""What a machine makes of one lost sample between two good ones."""

UP_TO_MEAN, THROUGHOUT, LINE = "held up to a mean", "held throughout", "line"
"""What it makes of several in a row."""


@dataclass(frozen=True)
class Machine:
    """How the machine of a pass conceals.

    Args:
        roundings: the ways in which it may round halves.
        single: MEAN or HELD.
        several: UP_TO_MEAN, THROUGHOUT or LINE.
    """

    roundings: tuple[int, ...] = ROUNDINGS
    single: str = MEAN
    several: str = UP_TO_MEAN


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
    if machine.several == LINE:
        mean[1:-1] = np.abs(sums - 2 * inner) <= step
    elif machine.single == MEAN:
        for rounding in machine.roundings:
            mean[1:-1] |= inner == rounded_half(sums, step, rounding)
    if machine.several != LINE or machine.single == HELD:
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
    """Return what differing samples of a capture say of its machine, as counts, shape (8,).

    The first three: means by each way of rounding, where the ways differ. Then of single samples: means, and such as
    hold the one before. Then of several in a row: held up to a mean, held throughout, and straight lines.

    Args:
        samples: one capture.
        at: positions to look at, in order, each with two samples on either side.
        step: one step of the tape's word length.
    """
    sums = samples[at - 1] + samples[at + 1]
    ways = [rounded_half(sums, step, rounding) for rounding in ROUNDINGS]
    differ = ways[DOWN] != ways[UP]
    counts = [np.count_nonzero(differ & (samples[at] == way)) for way in ways]
    straight = np.abs(sums - 2 * samples[at]) <= step
    held = samples[at] == samples[at - 1]
    # Sound that holds levels by nature does so before, too.
    sets_in = samples[at - 1] != samples[at - 2]
    first, size = rows_of(at)
    last = first + size - 1
    held_in, straight_in = (np.add.reduceat(np.append(one, [0]), first) for one in (held, straight & ~held))
    # A level held for longer than losses last is another flaw.
    one, more = (size == 1) & sets_in[first], (size > 1) & (size <= LONGEST_RUN) & sets_in[first]
    # A mean behind what is held may belong to it, and be the tape's by chance.
    behind = at[last] + 1
    goes_on = np.abs(samples[behind - 1] + samples[behind + 1] - 2 * samples[behind]) <= step
    counts += [
        np.count_nonzero(one & (straight_in == 1)),
        np.count_nonzero(one & (held_in == 1) & ~straight[last] & ~goes_on),
        np.count_nonzero(more & (held_in == size - 1) & straight[last] & ~held[last]),
        np.count_nonzero(more & (held_in == size) & ~straight[last] & ~goes_on),
        np.count_nonzero(more & (straight_in == size)),
    ]
    return np.array(counts, np.int64)


def tally_machines(held: Sequence[Int32s], present: Sequence[Bools], at: Int64s, step: int) -> list[Int64s]:
    """Return what samples in which captures differ say of the machine of each, as ``tally_machine`` counts.

    Where another capture lost a sample this one's is the sound's own, and says nothing of a machine.

    Args:
        held: the captures' samples, all of one shape.
        present: where each capture holds any, same shape.
        at: positions of the samples, in order.
        step: one step of the tape's word length.
    """
    wide, here = [samples.astype(np.int64) for samples in held], [own[at] for own in present]
    looks = [own & may_be_concealed(samples, at, step) for samples, own in zip(wide, here, strict=True)]
    tallies = []
    for samples, own in zip(wide, here, strict=True):
        lost_elsewhere = [look & (other[at] != samples[at]) for look, other in zip(looks, wide, strict=True)]
        tallies.append(tally_machine(samples, at[own & ~np.any(lost_elsewhere, axis=0)], step))
    return tallies


def may_be_concealed(samples: Int64s, at: Int64s, step: int) -> Bools:
    """Return which samples of a capture lie within a step of their neighbours' mean, or hold the one before."""
    bend = samples[at - 1] + samples[at + 1] - 2 * samples[at]
    return np.asarray((np.abs(bend) <= step) | (samples[at] == samples[at - 1]), np.bool_)


def rows_of(at: Int64s) -> tuple[Int64s, Int64s]:
    """Return where rows of adjacent positions begin, as indices, and how long each is."""
    starts = np.flatnonzero(np.diff(at, prepend=at[:1] - 2) > 1)
    return starts, np.diff(np.append(starts, at.size))


def likely_machine(tally: Int64s) -> Machine:
    """Return how a machine conceals by what was counted; where too little was, any rounding by the published rule."""
    best = int(tally[:3].argmax())
    roundings = (best,) if tally[best] >= LEAST_TELLING else ROUNDINGS
    mean, held, *several = tally[3:]
    ways = dict(zip((UP_TO_MEAN, THROUGHOUT, LINE), several, strict=True))
    likeliest = max(ways, key=lambda way: ways[way])
    others = sum(several) - ways[likeliest]
    is_clear = ways[likeliest] >= LEAST_TELLING and ways[likeliest] > CLEARLY * others
    return Machine(
        roundings,
        HELD if held >= LEAST_TELLING and held > CLEARLY * mean else MEAN,
        likeliest if is_clear else UP_TO_MEAN,
    )
