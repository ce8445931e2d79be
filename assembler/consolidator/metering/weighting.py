"""The K-weighting filter, as products of matrices: a recursive filter's loop over samples has no place in numpy.

A track is cut into blocks. What a block gives is its own samples through the first part of the impulse response, and
what the filter still holds of all before, a state of four numbers; the states at the beginning of all blocks follow
from each other, and are summed up in groups. Against the recursive loop only rounding differs.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s

BLOCK = 48
"""Samples of a block: longer ones cost products, shorter ones states."""
_BLOCKS_PER_PRODUCT, _BLOCKS_PER_STATES = 96, 1152
"""So small a product stays within one thread of the linear algebra library; see ``true_peak``."""
_STATES, _GROUP = 4, 25
_NOTHING = 1e-200
"""Far below any rounding; what is smaller would sink into the slow subnormal numbers."""


@cache
def k_weighting(sample_rate: int) -> Float64s:
    """Return the K-weighting filter as second-order sections: shape (2, 6), rows b0 b1 b2 1 a1 a2.

    The high-pass stands before the shelf (the order of BS.1770 is the other way, the product the same): after
    a cut to silence the shelf is then fed by the high-pass's slow decay, and never sinks into subnormal
    numbers, on which the processor is a hundred times slower.

    Source: ITU-R BS.1770-5 Annex 1 Tables 1 and 2, carried to other rates by the bilinear filters of Brecht De Man,
    "Evaluation of implementations of the EBU R128 loudness measurement" (AES Convention 145, 2018), with his constants.
    """
    # frequency in Hz, quality
    passing, passing_quality = np.tan(np.pi * 38.13547087613982 / sample_rate), 0.5003270373253953
    shelf, shelf_quality = np.tan(np.pi * 1681.9744509555319 / sample_rate), 0.7071752369554193
    gain = 10.0 ** (3.99984385397 / 20.0)
    slope = gain**0.499666774155
    below, above = 1 + passing / passing_quality + passing**2, 1 + shelf / shelf_quality + shelf**2
    return np.array(
        [
            [
                *(1, -2, 1, 1),
                2 * (passing**2 - 1) / below,
                (1 - passing / passing_quality + passing**2) / below,
            ],
            [
                (gain + slope * shelf / shelf_quality + shelf**2) / above,
                2 * (shelf**2 - gain) / above,
                (gain - slope * shelf / shelf_quality + shelf**2) / above,
                1,
                2 * (shelf**2 - 1) / above,
                (1 - shelf / shelf_quality + shelf**2) / above,
            ],
        ]
    )


class _Products(NamedTuple):
    """What a block makes of samples and state, both as rows.

    Args:
        gives: samples and the state before them to the samples weighted; shape (block + 4, block).
        stores: samples to the state after the block; shape (block, 4).
        keeps: the state at a sample to that so many samples after; shape (block + 1, 4, 4).
    """

    gives: Float64s
    stores: Float64s
    keeps: Float64s


@cache
def _products(sample_rate: int) -> _Products:
    # Five runs of the filter's loop at once: one for each number of the state, and an impulse without a state.
    states = np.vstack((np.eye(_STATES), np.zeros(_STATES)))
    given, reached = np.zeros((_STATES + 1, BLOCK)), [states]
    for at in range(BLOCK):
        impulse = np.array([0, 0, 0, 0, 1.0 if at == 0 else 0.0])
        given[:, at], states = _one_sample(k_weighting(sample_rate), impulse, states)
        reached.append(states)
    gives = np.zeros((BLOCK + _STATES, BLOCK))
    for at in range(BLOCK):
        gives[at, at:] = given[_STATES, : BLOCK - at]
    gives[BLOCK:] = given[:_STATES]
    stores = np.array([reached[BLOCK - at][_STATES] for at in range(BLOCK)])
    keeps = np.array([one[:_STATES] for one in reached])
    return _Products(gives, stores, keeps)


def _one_sample(sections: Float64s, values: Float64s, states: Float64s) -> tuple[Float64s, Float64s]:
    """Return what several filters give for one sample each, shape (filters,), and their states after it."""
    following = np.empty_like(states)
    for number, (b0, b1, b2, _, a1, a2) in enumerate(sections):
        first, second = states[:, 2 * number], states[:, 2 * number + 1]
        out = b0 * values + first
        following[:, 2 * number] = b1 * values - a1 * out + second
        following[:, 2 * number + 1] = b2 * values - a2 * out
        values = out
    return values, following


class Weighting:
    """K-weighting of a track that is fed in pieces.

    Args:
        sample_rate: samples per second.
    """

    def __init__(self, sample_rate: int) -> None:
        self._sample_rate = sample_rate
        self._products = _products(sample_rate)
        self.state = np.zeros(_STATES)

    def weighted(self, values: Float64s) -> Float64s:
        """Return the next samples weighted: shape (n,) of both, any n."""
        gives, stores, keeps = self._products
        blocks, rest = divmod(values.size, BLOCK)
        rows = np.empty((blocks, BLOCK + _STATES))
        rows[:, :BLOCK] = values[: blocks * BLOCK].reshape(blocks, BLOCK)
        states = np.empty((blocks + 1, _STATES))
        states[0] = self.state
        parts = [slice(first, first + _BLOCKS_PER_PRODUCT) for first in range(0, blocks, _BLOCKS_PER_PRODUCT)]
        for first in range(0, blocks, _BLOCKS_PER_STATES):
            part = slice(first, first + _BLOCKS_PER_STATES)
            np.matmul(rows[part, :BLOCK], stores, out=states[1:][part])
        states = _add_up(states, self._sample_rate)
        rows[:, BLOCK:] = states[:-1]
        out = np.empty(values.size)
        given = out[: blocks * BLOCK].reshape(blocks, BLOCK)
        for part in parts:
            np.matmul(rows[part], gives, out=given[part])
        self.state = states[-1]
        if rest:
            last = values[blocks * BLOCK :]
            out[blocks * BLOCK :] = last @ gives[:rest, :rest] + self.state @ gives[BLOCK:, :rest]
            self.state = last @ stores[BLOCK - rest :] + self.state @ keeps[rest]
        return out


@cache
def _sums(sample_rate: int, apart: int, count: int) -> Float64s:
    """Return what sums up states: what each of so many rows adds, to the state after each, shape (4 n, 4 n).

    Args:
        sample_rate: samples per second.
        apart: blocks from one row to the next.
        count: rows.
    """
    once = np.linalg.matrix_power(_products(sample_rate).keeps[BLOCK], apart)
    powers = [np.eye(_STATES)]
    for _ in range(count - 1):
        powers.append(powers[-1] @ once)
    sums = np.zeros((count, _STATES, count, _STATES))
    for before in range(count):
        for behind in range(before, count):
            sums[before, :, behind] = powers[behind - before]
    sums[np.abs(sums) < _NOTHING] = 0.0
    return sums.reshape(count * _STATES, -1)


def _add_up(states: Float64s, sample_rate: int) -> Float64s:
    """Return the state at the end of each block, of what each adds to it, shape (blocks + 1, 4) both.

    They are summed up within groups, then from group to group.
    """
    groups = -(-len(states) // _GROUP)
    rows = np.zeros((groups, _GROUP * _STATES))
    rows.reshape(-1)[: states.size] = states.reshape(-1)
    within = rows @ _sums(sample_rate, 1, _GROUP)
    ends = (within[:, -_STATES:].reshape(1, -1) @ _sums(sample_rate, _GROUP, groups)).reshape(groups, _STATES)
    # What the groups before leave fades as it would in the first row of a group, one block later.
    rows[:] = 0.0
    rows[1:, :_STATES] = ends[:-1] @ _products(sample_rate).keeps[BLOCK]
    within += rows[:, :_STATES] @ _sums(sample_rate, 1, _GROUP)[:_STATES]
    return within.reshape(-1, _STATES)[: len(states)]
