"""Ranges that stand in a crowd are left out, the same wherever blocks begin."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.compare.limits import MOST_NEAR
from assembler.aligner.compare.notes import SparseRanges
from assembler.aligner.records.limits import READ_SAMPLES

MARGIN = 256
LENGTH = 4_000_000


def _ranges(seed: int) -> list[tuple[int, int]]:
    """Return ranges of 32 samples and more, in stretches as dense as a crowd, denser, and thinner."""
    random = np.random.default_rng(seed)
    found, at = [], 0
    for gap in (1500, 60, 240, 150, 1500, 200):
        for _ in range(int(random.integers(200, 700))):
            at += int(random.integers(gap, gap + gap // 3))
            size = int(random.integers(32, 90 if random.random() < 0.998 else 200_000))
            found.append((at, at + size))
            at += size
    return found


def _kept(ranges: list[tuple[int, int]], block: int, start: int) -> list[tuple[int, int]]:
    """Return what is kept of ranges that blocks show as far as they read."""
    sparse = SparseRanges()
    for low in range(start, LENGTH, block):
        first, last = low - MARGIN, low + block + MARGIN
        cut = [(max(a, first), min(b, last)) for a, b in ranges if a < last and b > first]
        sparse.add([(a, b) for a, b in cut if b - a >= 32], low + block)
    return sparse.kept()


@pytest.mark.parametrize("seed", range(4))
def test_what_is_kept_does_not_depend_on_blocks(seed: int) -> None:
    """Any more than 400 within 131072 samples are left out, by a count without blocks; others are kept whole."""
    ranges = _ranges(seed)
    starts = [start for start, _ in ranges]
    crowded = {
        number
        for first in range(len(starts) - MOST_NEAR)
        if starts[first + MOST_NEAR] - starts[first] <= READ_SAMPLES
        for number in range(first, first + MOST_NEAR + 1)
    }
    wanted = [one for number, one in enumerate(ranges) if number not in crowded]
    assert 0 < len(wanted) < len(ranges)
    for block, start in ((1 << 17, 0), (1 << 16, 0), (50_000, -12_345), (1 << 17, -100_000)):
        assert _kept(ranges, block, start) == wanted
