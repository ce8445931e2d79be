"""Rows of means sought only where a glance leaves room for them are the rows sought everywhere."""

from __future__ import annotations

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from assembler.aligner.concealment.rows import rows_of_means
from assembler.aligner.sound.glance.glance import Glance


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 1 << 30),
    size=st.integers(0, 9000),
    largest=st.sampled_from([2, 4, 16, 1000]),
    lost=st.lists(st.tuples(st.integers(0, 8900), st.integers(10, 60)), max_size=6),
    held=st.lists(st.tuples(st.integers(0, 8900), st.integers(1, 300)), max_size=2),
)
@example(seed=8, size=40_000, largest=15, lost=[(20_000, 16)], held=[])
def test_a_glance_loses_no_row(
    seed: int, size: int, largest: int, lost: list[tuple[int, int]], held: list[tuple[int, int]]
) -> None:
    """In coarse sound and fine, with samples lost of either parity, short of a proof or long, and levels held."""
    samples = np.random.default_rng(seed).integers(-largest, largest + 1, size, np.int32)
    for start, count in held:
        samples[start : start + count] = samples[start : start + 1].sum()
    for start, members in lost:
        at = np.arange(start + 1, min(start + 2 * members, size - 1), 2)
        samples[at] = (samples[at - 1] + samples[at + 1]) // 2
    assert rows_of_means(samples, 1, Glance(samples, 1).means) == rows_of_means(samples, 1)
