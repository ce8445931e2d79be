"""What is drawn by chance for the trials."""

from __future__ import annotations

import numpy as np

from assembler.demo.medium.format import BLOCKS
from scripts.bench.medium_chance import make_damages

SWEEPS = 600


def test_damages_lie_on_the_tape() -> None:
    """Wherever they are drawn, they fit a sweep."""
    for one in make_damages(np.random.default_rng(2), SWEEPS, 5000):
        assert 0 <= one.sweep < one.sweep + one.sweeps <= SWEEPS
        assert 0 <= one.block < one.block + one.blocks <= BLOCKS
