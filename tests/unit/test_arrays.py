"""Sums of numbers side by side."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.arrays import sums_around


@pytest.mark.parametrize(("before", "behind"), [(0, 0), (0, 1), (2, 0), (3, 4), (50, 60)])
def test_sums_reach_as_far_as_there_are_numbers(before: int, behind: int) -> None:
    """Each sum is that of the slice around its place, cut at both ends."""
    values = np.random.default_rng(5).integers(-100, 100, 40)
    slices = [values[max(0, at - before) : at + behind] for at in range(values.size)]
    assert sums_around(values, before, behind).tolist() == [int(one.sum()) for one in slices]


def test_of_no_numbers_there_are_no_sums() -> None:
    """An empty row gives an empty one."""
    assert sums_around(np.zeros(0), 3, 4).size == 0
