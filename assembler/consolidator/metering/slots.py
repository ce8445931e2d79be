"""The 10 ms grid that all time-dependent measures share.

A meter works through a track in seconds, each cut into one hundred slots. A second of any whole sample rate
holds whole slots, so the grid never drifts; where a slot would end between samples (22050 Hz) its edge is
rounded down and slots differ by one sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int64s

SLOTS_PER_SECOND = 100


def slot_edges(sample_rate: int) -> Int64s:
    """Return where the slots of a second begin and the last one ends: shape (101,), samples, from 0."""
    return np.arange(SLOTS_PER_SECOND + 1, dtype=np.int64) * sample_rate // SLOTS_PER_SECOND


def slot_energies(values: Float64s, edges: Int64s) -> tuple[Float64s, Float64s]:
    """Return the sum of squares in each whole slot, and in what follows the last whole one.

    Args:
        values: shape (n,), at most one second, beginning on the grid.
        edges: what ``slot_edges`` gives for the rate.

    Returns:
        Shape (whole slots,) and shape (0,) or (1,).
    """
    if values.size == edges[-1] and values.size % SLOTS_PER_SECOND == 0:
        slots = values.reshape(SLOTS_PER_SECOND, -1)
        return np.einsum("ij,ij->i", slots, slots), np.zeros(0)
    starts = edges[:-1][edges[:-1] < values.size]
    if not starts.size:
        return np.zeros(0), np.zeros(0)
    sums = np.add.reduceat(np.square(values), starts)
    whole = int(np.searchsorted(edges, values.size, side="right")) - 1
    return sums[:whole], sums[whole:]
