"""The cheapest choice of a truth for each of a row of samples, where neighbouring choices bear on each other.

Pure arithmetic: costs in, choices and leads out; no audio.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int64s


def least_totals(costs: Float64s, links: Float64s, starts: Int64s, sizes: Int64s) -> Float64s:
    """Return for each sample and state what the cheapest row costs that has the sample in that state.

    Args:
        costs: of each sample in each state, shape (samples, states).
        links: of going from a sample's state to the next one's, shape (samples, states, states); unused at ends.
        starts: index of the first sample of each row, shape (rows,).
        sizes: samples in each row, shape (rows,).
    """
    order = np.argsort(-sizes, kind="stable")
    first, size = starts[order], sizes[order]
    forward, backward = costs.copy(), np.zeros_like(costs)
    longest = int(size[0])
    # Rows are walked side by side; those that are longer come first.
    running = [int(np.searchsorted(-size, -at, side="left")) for at in range(longest)]
    for at in range(1, longest):
        here = first[: running[at]] + at
        forward[here] += (forward[here - 1][:, :, None] + links[here - 1]).min(axis=1)
    for at in range(longest - 1, 0, -1):
        here = first[: running[at]] + at
        backward[here - 1] = (links[here - 1] + (costs[here] + backward[here])[:, None, :]).min(axis=2)
    return forward + backward
