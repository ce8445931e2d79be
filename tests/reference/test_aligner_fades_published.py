"""Fades and dither against published numbers.

Fade law and table: Fink, Holters, Zoelzer, "Signal-matched power-complementary cross-fading and dry-wet mixing",
Proc. DAFx-16, 2016 (the numbers follow from its law g_in^2 + g_out^2 + 2 r g_in g_out = 1, computed by hand).
Dither: Lipshitz, Wannamaker, Vanderkooy, "Quantization and Dither: A Theoretical Survey", J. AES 40(5), 1992:
triangular dither two steps wide makes mean and power of the total error independent of the signal, the power a
quarter of a step squared.
"""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.plan.joins.fades import (
    cross_fade,
    fade_gains,
    fade_ramp,
    measured_correlation,
    triangular_dither,
)

# Correlation, gain at the middle, gains at a quarter of the ramp (incoming, outgoing); tolerance 1e-6.
TABLE = (
    (0.0, 0.707107, 0.316228, 0.948683),
    (0.25, 0.632456, 0.294884, 0.884652),
    (0.5, 0.577350, 0.277350, 0.832050),
    (0.75, 0.534522, 0.262613, 0.787839),
    (1.0, 0.500000, 0.25, 0.75),
)


@pytest.mark.parametrize(("correlation", "middle", "quarter_in", "quarter_out"), TABLE)
def test_gains_follow_the_published_law(
    correlation: float, middle: float, quarter_in: float, quarter_out: float
) -> None:
    """Both gains at the middle and at a quarter have the published values."""
    gain_in, gain_out = fade_gains(np.array([0.25, 0.5]), correlation)
    assert gain_in == pytest.approx([quarter_in, middle], abs=1e-6)
    assert gain_out == pytest.approx([quarter_out, middle], abs=1e-6)


def test_a_negative_correlation_is_taken_as_none() -> None:
    """Below zero the law would raise both sides without bound; the gains are those of correlation zero."""
    for given, same in zip(fade_gains(fade_ramp(9), -0.5), fade_gains(fade_ramp(9), 0.0), strict=True):
        assert np.array_equal(given, same)


@pytest.mark.parametrize("correlation", [0.0, 0.5, 1.0])
def test_the_level_through_a_fade_is_constant(correlation: float) -> None:
    """The power of 32 stretches of a long fade stays within 0.5 dB of the sides', with the measured correlation."""
    rng = np.random.default_rng(61)
    count, scale = 320_000, 200_000.0
    first = rng.normal(size=count)
    second = correlation * first + np.sqrt(1 - correlation**2) * rng.normal(size=count)
    sides = [np.rint(scale * side).astype(np.int32) for side in (first, second)]
    # Sides that are equal are not computed; one step apart they are.
    sides[1] += 1
    measured = measured_correlation(*sides)
    assert measured == pytest.approx(correlation, abs=0.01)
    mixed = cross_fade(sides[0], sides[1], measured, triangular_dither(np.arange(count), 1), 1)
    power = np.mean((mixed.astype(np.float64) / scale).reshape(32, -1) ** 2, axis=1)
    assert np.abs(10 * np.log10(power)).max() < 0.5


def test_dither_has_the_statistics_of_the_triangle() -> None:
    """Mean 0, variance 1/6, nothing outside one step, no correlation between neighbours."""
    dither = triangular_dither(np.arange(400_000), 7)
    assert float(np.mean(dither)) == pytest.approx(0.0, abs=0.003)
    assert float(np.var(dither)) == pytest.approx(1 / 6, rel=0.01)
    assert np.abs(dither).max() <= 1.0
    assert float(np.mean(np.abs(dither) < 0.5)) == pytest.approx(0.75, abs=0.005)
    assert float(np.corrcoef(dither[1:], dither[:-1])[0, 1]) == pytest.approx(0.0, abs=0.01)


def test_the_error_of_a_fade_does_not_depend_on_the_signal() -> None:
    """From 0 to half a step the error's mean is 0 and its power a quarter of a step squared, everywhere alike."""
    count, step = 500_000, 16
    outgoing, incoming = np.zeros(count, np.int32), np.full(count, step // 2, np.int32)
    mixed = cross_fade(outgoing, incoming, 1.0, triangular_dither(np.arange(count), 5), step)
    error = (mixed - fade_ramp(count) * step / 2) / step
    parts = error.reshape(10, -1)
    assert np.mean(parts, axis=1) == pytest.approx(np.zeros(10), abs=0.01)
    assert np.mean(parts**2, axis=1) == pytest.approx(np.full(10, 0.25), abs=0.01)
