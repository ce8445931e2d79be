"""What flaws point at."""

from __future__ import annotations

import numpy as np

from assembler.aligner.tellings import steady_interval


def test_places_at_a_steady_pace_give_their_interval() -> None:
    """A scratch on a drum that turns 30 times a second is told by its interval, missed turns and all."""
    turns = np.array([0, 1, 2, 3, 5, 6, 8, 9, 10, 11])
    starts = 5000 + np.round(turns * 1600 + np.random.default_rng(1).uniform(-20, 20, turns.size)).astype(
        np.int64
    )
    interval = steady_interval(starts)
    assert interval is not None
    assert abs(interval - 1600) < 8


def test_places_at_random_have_no_interval() -> None:
    """Of two hundred random rows of places none is taken for steady."""
    random = np.random.default_rng(7)
    for _ in range(200):
        starts = np.sort(random.integers(0, 5_000_000, int(random.integers(6, 40))))
        assert steady_interval(starts) is None


def test_few_places_have_no_interval() -> None:
    """Five places tell nothing about a pace."""
    assert steady_interval(np.arange(5) * 1000) is None
