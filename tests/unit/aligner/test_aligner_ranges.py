"""Ranges of samples: hand-worked joins and cuts."""

from __future__ import annotations

import numpy as np

from assembler.aligner.records.ranges import common, merged, ranges_of, total, without


def test_ranges_of_a_mask_are_counted_from_the_offset() -> None:
    """A mask of two true stretches gives two ranges; a bridge of their gap's length gives one."""
    mask = np.array([1, 1, 0, 0, 1], np.bool_)
    assert ranges_of(mask, offset=100) == [(100, 102), (104, 105)]
    assert ranges_of(mask, bridge=1) == [(0, 2), (4, 5)]
    assert ranges_of(mask, bridge=2) == [(0, 5)]
    assert ranges_of(mask, least=2) == [(0, 2)]
    assert ranges_of(np.zeros(4, np.bool_)) == []


def test_merging_closes_gaps_up_to_the_bridge() -> None:
    """Ranges that touch become one, so do those with a gap of the bridge, in any order."""
    assert merged([(10, 20), (0, 5), (5, 7)]) == [(0, 7), (10, 20)]
    assert merged([(10, 20), (0, 5), (5, 7)], bridge=3) == [(0, 20)]
    assert merged([(0, 9), (2, 3)]) == [(0, 9)]


def test_ranges_that_only_touch_have_nothing_in_common() -> None:
    """The end is excluded."""
    assert common([(0, 5)], [(5, 9)]) == []
    assert common([(0, 5), (8, 12)], [(3, 9)]) == [(3, 5), (8, 9)]


def test_holes_are_cut_out() -> None:
    """What is left keeps its order; the total counts samples."""
    left = without([(0, 10), (20, 30)], [(0, 2), (5, 6), (28, 40)])
    assert left == [(2, 5), (6, 10), (20, 28)]
    assert total(left) == 15
