"""A look that rules out that a stretch stands a second time: it may not rule out one that does."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.flaws.alone import played_twice
from assembler.aligner.flaws.limits import LEAST_LAG
from assembler.aligner.sound.limits import LARGEST_LAG
from assembler.aligner.sound.repeats.grid import may_repeat

SIZE = 60_000
LAGS, LEAST = (LEAST_LAG, LARGEST_LAG), LEAST_LAG - 2


def sound(seed: int, largest: int) -> np.ndarray[tuple[int], np.dtype[np.int32]]:
    """Return noise that never stands twice for long."""
    return np.random.default_rng(seed).integers(-largest, largest, SIZE, np.int32)


@pytest.mark.parametrize("largest", [8, 1 << 10, 1 << 22])
@pytest.mark.parametrize("lag", [LEAST_LAG, LEAST_LAG + 1, 1000, LARGEST_LAG])
def test_a_shortest_copy_is_never_ruled_out(lag: int, largest: int) -> None:
    """A stretch of the least length is seen wherever on the grid it begins, at the least and the largest lag."""
    for seed, start in enumerate((LARGEST_LAG, SIZE - LEAST, *range(20_000, 20_070))):
        samples = sound(seed, largest)
        samples[start : start + LEAST] = samples[start - lag : start - lag + LEAST]
        assert may_repeat(samples, LAGS, LEAST), start


@pytest.mark.parametrize("share", [0.55, 0.8])
def test_a_copy_that_holds_still_for_a_while_is_not_ruled_out(share: float) -> None:
    """So long as more than half of it changes, and none of the levels reach over all of it."""
    samples = sound(1, 1 << 20)
    samples[20_000 : 20_000 + round(LEAST * (1 - share))] = 7
    samples[20_500 : 20_500 + LEAST] = samples[20_000 : 20_000 + LEAST]
    assert may_repeat(samples, LAGS, LEAST)


def test_sound_that_never_repeats_is_ruled_out() -> None:
    """Nor do a level, or what stands again much later, or at once, ask for a closer look."""
    samples = sound(2, 1 << 20)
    samples[5_000:9_000] = 0
    samples[40_000:40_400] = samples[30_000:30_400]
    samples[50_064:50_200] = samples[50_000:50_136]
    assert not may_repeat(samples, LAGS, LEAST)


@pytest.mark.parametrize("seed", range(20))
def test_what_is_found_was_not_ruled_out(seed: int) -> None:
    """A block played twice, of any lag, in sound of any size: the look agrees with the search."""
    random = np.random.default_rng(seed)
    samples, lag = sound(seed, int(random.integers(4, 1 << 20))), int(random.integers(LEAST_LAG, LARGEST_LAG))
    at = int(random.integers(2 * LARGEST_LAG, SIZE - 2 * LARGEST_LAG))
    samples[at : at + lag] = samples[at - lag : at]
    if played_twice(samples):
        assert may_repeat(samples, LAGS, LEAST)


@pytest.mark.parametrize("size", [0, 1, 62, 63, 64, 200])
def test_short_samples_are_no_trouble(size: int) -> None:
    """What is shorter than two stretches holds none twice."""
    assert not may_repeat(sound(3, 1 << 20)[:size], LAGS, LEAST)
