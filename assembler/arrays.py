"""Array types, named once.

Audio is kept as whole numbers at the word length of the set: shape ``(samples,)`` for one track and
``(samples, tracks)`` for several, C order, ``int32``.
"""

from __future__ import annotations

import math
from functools import reduce
from typing import TYPE_CHECKING, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike

Bools: TypeAlias = NDArray[np.bool_]
Bytes: TypeAlias = NDArray[np.uint8]
Int32s: TypeAlias = NDArray[np.int32]
Int64s: TypeAlias = NDArray[np.int64]
UInt64s: TypeAlias = NDArray[np.uint64]
Float32s: TypeAlias = NDArray[np.float32]
Float64s: TypeAlias = NDArray[np.float64]


_Number = TypeVar("_Number", np.int32, np.int64, np.float64)
_Counted = TypeVar("_Counted", np.int64, np.float64)


def within(values: Int32s, most: int) -> Bools:
    """Return which numbers lie between ``-most`` and ``most``: of 30 bits at most, all of them, shape as ``values``."""
    # One comparison for both sides: as an unsigned number what lies below is large.
    found: Bools = (values + np.int32(most)).view(np.uint32) <= np.uint32(2 * most)
    return found


def distinct(values: NDArray[_Number]) -> NDArray[_Number]:
    """Return the different numbers among some, in order, shape (n,); none of them not a number."""
    ordered = np.sort(values, axis=None)
    kept: NDArray[_Number] = ordered[np.append([True], ordered[1:] != ordered[:-1])[: ordered.size]]
    return kept


def summed(arrays: Iterable[Float64s]) -> Float64s:
    """Return the sum of some arrays of one shape, one after the other."""
    return reduce(np.ndarray.__add__, arrays)


def sums_around(values: NDArray[_Counted], before: int, behind: int) -> NDArray[_Counted]:
    """Return for each number the sum of those around it, shape as ``values``.

    Args:
        values: shape (n,).
        before: how many of those before it are summed.
        behind: how many from itself on.
    """
    sums = np.cumsum(values)
    reached = np.concatenate((np.zeros(before + 1, sums.dtype), sums, np.full(behind, sums[-1:].sum())))
    found: NDArray[_Counted] = reached[before + behind :][: sums.size] - reached[: sums.size]
    return found


def median(values: ArrayLike) -> float:
    """Return the middle of some numbers, of an even count the mean of the two in the middle; without any, not a number.

    This and `distinct` are not the library's own, which load its masked arrays first: a thirtieth of a short check.
    """
    flat = np.asarray(values).ravel()
    if not flat.size:
        return math.nan
    middle = [(flat.size - 1) // 2, flat.size // 2]
    ordered = np.partition(flat, [*middle, flat.size - 1])
    return math.nan if ordered[-1] != ordered[-1] else float(ordered[middle].mean())
