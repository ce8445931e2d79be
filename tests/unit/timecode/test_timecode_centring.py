"""Middles of points that err both ways, and how well they are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from assembler.timecode import FRAME_RATES, TimecodePoints, fit_clock
from assembler.timecode.clock.line.centring import locate_middles

RATE = FRAME_RATES["30"]
SAMPLE_RATE = 48_000
QUARTERS = np.arange(2400) + 432_000


def make_points(
    errors_samples: np.ndarray, shift_samples: float, *, two_sided: bool = True
) -> TimecodePoints:
    """Return points of twenty seconds that are off by these many samples."""
    times = QUARTERS / 120 - shift_samples / SAMPLE_RATE + errors_samples / SAMPLE_RATE
    return TimecodePoints(times, QUARTERS / 4, None, times.size, 0.0, 1e-6, (), two_sided=two_sided)


def test_middles_are_means_that_strays_hardly_move() -> None:
    """Each block gives the mean of its points; one far out, or a shorter block, does not matter."""
    generator = np.random.default_rng(4)
    blocks = generator.normal([[3.0], [-5.0]], 1.0, (2, 60))
    blocks[0, 7] = 1e6
    blocks[1, 40:] = np.nan
    middles, errors = locate_middles(blocks, 1e-3)
    assert middles[0] == pytest.approx(np.delete(blocks[0], 7).mean(), abs=0.2)
    assert middles[1] == pytest.approx(blocks[1, :40].mean(), abs=1e-9)
    assert (errors > 1 / np.sqrt(60)).all()


def test_the_middle_places_what_errs_both_ways() -> None:
    """Points that err evenly to both sides are placed at their middle; the same points, if late, at their beginning."""
    spread = np.random.default_rng(5).uniform(-10, 10, QUARTERS.size)
    middle, early = (
        fit_clock(make_points(spread, 1e6, two_sided=two_sided), RATE, SAMPLE_RATE).stretches[0].shift_samples
        for two_sided in (True, False)
    )
    assert middle == pytest.approx(1e6, abs=0.5)
    assert early == pytest.approx(1e6 + 10, abs=0.5)


def test_errors_that_hang_together_widen_what_is_stated() -> None:
    """Where neighbouring points err alike for seconds, the stated interval still holds the truth nearly always."""
    held = []
    for seed in range(40):
        white = np.random.default_rng(seed).normal(size=QUARTERS.size)
        # Each error keeps 0.97 of the one before it: they fade over a quarter of a second.
        errors = lfilter([1.0], [1.0, -0.97], white)
        stretch = fit_clock(make_points(errors, 1e6), RATE, SAMPLE_RATE).stretches[0]
        held.append(abs(stretch.shift_samples - 1e6) <= 1.96 * stretch.uncertainty_samples)
    assert np.mean(held) >= 0.85


def test_a_slip_among_points_that_err_both_ways_is_found() -> None:
    """Twenty samples lost half-way are found as such, at their place."""
    errors = np.random.default_rng(6).normal(scale=0.1, size=QUARTERS.size)
    errors[1300:] -= 20
    first, second = fit_clock(make_points(errors, 1e6), RATE, SAMPLE_RATE).stretches
    assert second.shift_samples - first.shift_samples == pytest.approx(20, abs=0.1)
    assert second.points == 1100
