"""Stretches that stand once more a little later: of nearly all sound one look shows that it has none.

A long stretch holds a whole piece of a grid. So only pieces of the grid are looked for among all samples before them:
first by one sample of each, then by a few, and what is left in full.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s, Int64s, UInt64s


def may_repeat(samples: Int32s, lags: Range, least: int) -> bool:
    """Return whether a stretch that changes, at more than half of its samples, may stand a second time.

    Args:
        samples: one track.
        lags: how many samples later, from and to.
        least: samples of the stretch.
    """
    size = least // 2
    pieces = _changing(samples, size)
    likely = _likely(samples, pieces, size)
    if 8 * likely.size > samples.size:
        return True  # so coarse that only a closer look tells
    keys = _keys(samples, pieces, size)
    at, own = likely, _keys(samples, likely, size)
    for shift in (46, 28):
        kept = _among(own, keys, shift)
        at, own = at[kept], own[kept]
    told = np.sort(keys)
    if (told[1:] != told[:-1]).all():
        at = at[at % size > 0]  # a piece is found at its own place
    # Where much is the same, as in loops, it is for a closer look as well.
    return at.size > pieces.size // 32 or any(
        _stands_later(samples, int(one), pieces, lags, size) for one in at
    )


def _stands_later(samples: Int32s, at: int, pieces: Int64s, lags: Range, size: int) -> bool:
    first, last = np.searchsorted(pieces, (at + lags[0], at + lags[1] + 1))
    own = samples[at : at + size]
    return any(np.array_equal(own, samples[other : other + size]) for other in pieces[first:last])


def _changing(samples: Int32s, size: int) -> Int64s:
    """Return where pieces of the grid begin that are not one level from end to end."""
    pieces = samples[: samples.size // size * size].reshape(-1, size)
    changes = pieces[:, 0] != pieces[:, size // 2]
    left = np.flatnonzero(~changes)
    changes[left] = (pieces[left] != pieces[left, :1]).any(axis=1)
    return np.flatnonzero(changes) * size


def _likely(samples: Int32s, pieces: Int64s, size: int) -> Int64s:
    """Return where a sample stands that may be the first one of a piece."""
    mixed = samples[: max(0, samples.size - size + 1)].view(np.uint32) * np.uint32(0x9E3779B1)
    return _among(mixed, mixed[pieces], 14)


def _keys(samples: Int32s, at: Int64s, size: int) -> UInt64s:
    """Return what some samples of each piece make together: equal for equal pieces."""
    keys = np.zeros(at.size, np.uint64)
    for offset in range(0, size, max(1, size // 4)):
        keys ^= samples[at + offset].view(np.uint32)
        keys *= np.uint64(0x9E3779B97F4A7C15)
    return keys


def _among(asked: NDArray[Any], known: NDArray[Any], shift: int) -> Int64s:
    """Return which of some numbers are among those that are known, by eighteen bits of them."""
    bits, shift = asked.dtype.type((1 << 18) - 1), asked.dtype.type(shift)
    is_known = np.zeros(1 << 18, np.bool_)
    is_known[(known >> shift & bits).astype(np.intp)] = True
    moved = asked >> shift
    if asked.dtype.itemsize > 4:
        moved &= bits
    return np.flatnonzero(is_known.take(moved.astype(np.intp)))
