"""The onset of each block, the spread of lateness being known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.clock.lateness.box import GRID
from assembler.timecode.clock.lateness.likelihood import REACH, Lateness, log_likelihood

if TYPE_CHECKING:
    from assembler.arrays import Float64s

# Values of the likelihood held at once: bounds memory to some 30 MB for a log of any length.
_LARGEST_BATCH: Final = 1_000_000


def locate_onsets(blocks: Float64s, lateness: Lateness) -> tuple[Float64s, Float64s]:
    """Return the onset of each block and its standard deviation, the spread being known.

    Args:
        blocks: shape (blocks, messages), deviations; NaN where a block is shorter than the others.
        lateness: the spread that all blocks share; its onset does not matter.

    Returns:
        Two arrays of shape (blocks,).
    """
    onsets = np.empty(blocks.shape[0])
    errors = np.empty(blocks.shape[0])
    batch = max(1, _LARGEST_BATCH // (GRID * blocks.shape[1]))
    for start in range(0, blocks.shape[0], batch):
        part = slice(start, start + batch)
        onsets[part], errors[part] = _locate_batch(blocks[part], lateness)
    return onsets - lateness.lead, errors


def _locate_batch(blocks: Float64s, lateness: Lateness) -> tuple[Float64s, Float64s]:
    messages = np.maximum(np.isfinite(blocks).sum(axis=1), 1)
    onsets = np.nanmedian(blocks, axis=1) - lateness.width / 2
    reach = lateness.breadth * np.minimum(2.5 / np.sqrt(messages), 1.0)
    errors = reach
    steps = np.linspace(-1.0, 1.0, GRID)
    for _ in range(2):
        grid = onsets[:, None] + reach[:, None] * steps
        terms = log_likelihood(
            blocks[:, None, :], grid[:, :, None], lateness.width, lateness.edges, lateness.breadth
        )
        likelihood = np.nansum(terms, axis=2)
        weights = np.exp(likelihood - likelihood.max(axis=1, keepdims=True))
        weights /= weights.sum(axis=1, keepdims=True)
        onsets = (weights * grid).sum(axis=1)
        spread = (weights * (grid - onsets[:, None]) ** 2).sum(axis=1)
        errors = np.sqrt(spread + (grid[:, 1] - grid[:, 0]) ** 2 / 12)
        reach = REACH * errors
    return onsets, errors
