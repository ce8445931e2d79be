"""Means of one parity in a single capture: a head that read nothing, seen without a witness.

A lone sample that is its neighbours' mean proves nothing. Hundreds of one parity in a row, by one way of rounding, in sound whose
other samples hardly ever are, prove it beyond doubt. The evidence is summed over the row, in nats.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import ALONE_NATS, LEAST_MEMBERS, RATE_SAMPLES
from assembler.aligner.ranges import ranges_of

if TYPE_CHECKING:
    from assembler.arrays import Bools, Int32s


@dataclass(frozen=True)
class Row:
    """Samples of one parity that are all means of their neighbours.

    Args:
        start: the first of them.
        end: behind the last of them.
        nats: how unlikely that is by nature.
    """

    start: int
    end: int
    nats: float


def rows_of_means(samples: Int32s, step: int) -> list[Row]:
    """Return rows of means that sound hardly explains, in order; such of both parities may overlap.

    Args:
        samples: one capture.
        step: one step of the tape's word length, in sample values.
    """
    if samples.size < 2 * LEAST_MEMBERS + 2:
        return []
    bend = np.zeros(samples.size, np.int32)
    bend[1:-1] = samples[:-2] + samples[2:] - 2 * samples[1:-1]
    likely = (bend <= step) & (bend >= -step)
    parities = [parity for parity in (0, 1) if _has_full_block(likely[parity::2])]
    if not parities:
        return []
    is_even = bend == 0
    down, up = is_even | (bend == step), is_even | (bend == -step)
    above = np.zeros(samples.size, np.bool_)
    above[1:-1] = samples[:-2] + samples[2:] > 0
    found: list[Row] = []
    for means in (down, up, np.where(above, down, up)):
        for parity in parities:
            if _has_full_block(means[parity::2]):
                found += _rows(means, parity)
    return _likeliest(found)


def _has_full_block(marked: Bools) -> bool:
    whole = marked.size // LEAST_MEMBERS * LEAST_MEMBERS
    return bool(marked[:whole].reshape(-1, LEAST_MEMBERS).all(axis=1).any())


def _rows(means: Bools, parity: int) -> list[Row]:
    sums = np.concatenate(([0], np.cumsum(means)))
    own_sums = np.concatenate(([0], np.cumsum(means[parity::2])))
    found = []
    for first, last in ranges_of(means[parity::2], least=LEAST_MEMBERS):
        start, end = parity + 2 * first, parity + 2 * last - 1
        low, high = max(0, start - RATE_SAMPLES), min(means.size, end + RATE_SAMPLES)
        members = last - first
        others = high - low - members
        chance = (sums[high] - sums[low] - (own_sums[last] - own_sums[first]) + 1) / (others + 2)
        nats = -members * float(np.log(chance))
        if nats >= ALONE_NATS:
            found.append(Row(start, end, nats))
    return found


def _likeliest(rows: list[Row]) -> list[Row]:
    """Return the rows in order; of those that one capture shows by several ways of rounding the likeliest."""
    kept: list[Row] = []
    for row in sorted(rows, key=lambda one: -one.nats):
        if not any(row.start < one.end and one.start < row.end for one in kept):
            kept.append(row)
    return sorted(kept, key=lambda one: one.start)
