"""Fades and dither as used: equal sides, bounds, blocks."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.plan.joins.fades import (
    clipped,
    cross_fade,
    fade_ramp,
    measured_correlation,
    triangular_dither,
)


def test_equal_sides_stay_the_same_number() -> None:
    """Where both sides hold one number nothing is computed, whatever the gains and the dither."""
    rng = np.random.default_rng(41)
    side = rng.integers(-(2**23), 2**23, 4000).astype(np.int32)
    other = side.copy()
    other[::7] += 3
    dither = triangular_dither(np.arange(4000), 3)
    assert np.array_equal(cross_fade(side, side.copy(), 0.0, dither, 1), side)
    mixed = cross_fade(side, other, 0.3, dither, 1)
    assert np.array_equal(mixed[side == other], side[side == other])


def test_a_fade_keeps_to_whole_steps() -> None:
    """20 bits in 24 keep their low bits zero."""
    rng = np.random.default_rng(42)
    sides = (rng.integers(-(2**19), 2**19, (2, 999)) * 16).astype(np.int32)
    mixed = cross_fade(sides[0], sides[1], 0.2, triangular_dither(np.arange(999), 1), 16)
    assert not (mixed % 16).any()


def test_the_ramp_is_symmetrical_and_inside() -> None:
    """Turned round it is one less itself, and it never reaches 0 or 1."""
    for length in (1, 2, 7, 480):
        ramp = fade_ramp(length)
        assert np.allclose(ramp + ramp[::-1], 1.0, atol=1e-15)
        assert 0 < ramp[0] <= ramp[-1] < 1


def test_a_correlation_is_measured_and_bounded() -> None:
    """Equal pieces give 1, silence 0, inverted -1; a mix of two noises the share that was mixed."""
    rng = np.random.default_rng(43)
    first = rng.integers(-9000, 9000, 50_000).astype(np.int32)
    other = rng.integers(-9000, 9000, 50_000)
    mixed = np.rint(0.5 * first + np.sqrt(0.75) * other).astype(np.int32)
    assert measured_correlation(first, first.copy()) == 1.0
    assert measured_correlation(first, np.zeros_like(first)) == 0.0
    assert measured_correlation(first, -first) == -1.0
    assert measured_correlation(first, mixed) == pytest.approx(0.5, abs=0.02)


def test_clipping_stays_inside_the_word() -> None:
    """The largest value is the last whole step below full scale."""
    samples = np.array([-(2**23) - 5, 2**23 + 5, 17], np.int32)
    assert clipped(samples, 24, 16).tolist() == [-(2**23), 2**23 - 16, 17]


def test_dither_depends_on_the_place_alone() -> None:
    """Any block of it is the same as the whole; another seed gives other numbers; large seeds warn of nothing."""
    whole = triangular_dither(np.arange(10_000), 2)
    assert np.array_equal(triangular_dither(np.arange(4000, 5000), 2), whole[4000:5000])
    for seed in (3, 128, 2**40):
        assert abs(float(np.corrcoef(whole, triangular_dither(np.arange(10_000), seed))[0, 1])) < 0.05


def test_a_fade_of_like_sides_makes_no_step_of_its_own() -> None:
    """Between two captures of one tone that differ in phase no step is larger than the tone's own largest one."""
    phase = 2 * np.pi * 997 / 48_000 * np.arange(4800)
    first = np.rint(2**22 * np.sin(phase)).astype(np.int32)
    second = np.rint(2**22 * np.sin(phase + 0.4)).astype(np.int32)
    correlation = measured_correlation(first, second)
    mixed = cross_fade(first, second, correlation, triangular_dither(np.arange(4800), 1), 1)
    own = max(np.abs(np.diff(side)).max() for side in (first, second))
    assert np.abs(np.diff(mixed)).max() <= own * 1.001 + 2
