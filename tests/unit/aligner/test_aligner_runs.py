"""Samples as runs, and back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assembler.aligner.records.runs import Runs, extent_of, joined_runs, runs_of, size_of

POSITIONS = st.sets(st.integers(-50, 300)).map(lambda found: np.array(sorted(found), np.int64))
RUNS = st.lists(st.tuples(st.integers(-50, 300), st.integers(1, 40), st.integers(1, 60)), max_size=12)


@given(POSITIONS, st.integers(-60, 310), st.integers(0, 400))
def test_runs_hold_their_positions(positions: np.ndarray, low: int, length: int) -> None:
    """Positions become runs that hold each of them once, and any range gives those inside it."""
    runs = runs_of(positions)
    inside = positions[(positions >= low) & (positions < low + length)]
    assert np.array_equal(Runs(runs).within(low, low + length), inside)
    assert size_of(runs) == positions.size
    if runs:
        assert extent_of(runs) == (positions[0], positions[-1] + 1)


@given(RUNS, st.integers(-60, 310), st.integers(1, 400))
def test_any_runs_are_laid_out(runs: list[tuple[int, int, int]], low: int, length: int) -> None:
    """Runs in any order, lying across each other, give what laying them out one by one gives."""
    single = sorted(first + step * n for first, step, count in runs for n in range(count))
    inside = [position for position in single if low <= position < low + length]
    assert Runs(runs).within(low, low + length).tolist() == inside
    assert Runs(runs).has_twice(100) == (len(set(single)) < len(single))


def test_runs_of_any_length_are_held_against_each_other() -> None:
    """What a record says of its samples costs by its runs, not by their length; too many of them are refused."""
    even, odd = (0, 2, 1 << 35), (1, 2, 1 << 35)
    assert not Runs([even, odd]).has_twice(10)
    assert Runs([even, odd, ((1 << 36) - 1, 1, 1)]).has_twice(10)
    with pytest.raises(ValueError, match="more than 10 pairs"):
        Runs((place, 1000, 1000) for place in range(20)).has_twice(10)


def test_a_long_comb_is_one_run() -> None:
    """Every second sample is one run, also where it was laid out in pieces."""
    comb = np.arange(1, 4001, 2)
    assert runs_of(comb) == [(1, 2, 2000)]
    assert joined_runs([*runs_of(comb[:700]), *runs_of(comb[700:])]) == [(1, 2, 2000)]
    assert joined_runs([(0, 2, 3), (7, 2, 3)]) == [(0, 2, 3), (7, 2, 3)]
