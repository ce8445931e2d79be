"""Laws of the meter: how a track is cut does not matter, and passing over stretches changes no peak."""

from __future__ import annotations

from dataclasses import astuple
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.consolidator.metering import TrackLevels, TrackMeter
from assembler.consolidator.metering.true_peak import TruePeakMeter, interpolator, oversampling_factor

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int32s


def lively(seed: int, length: int) -> Int32s:
    """Return noise with bursts, rests, full-scale runs and an offset: shape (length,), 16-bit."""
    rng = np.random.default_rng(seed)
    values = rng.normal(scale=300, size=length) + 5
    for start in rng.integers(0, length, 6):
        kind = rng.integers(3)
        values[start : start + rng.integers(1, 4000)] = (0, 1e6, -1e6)[kind] if kind else 0
    return np.clip(np.rint(values), -(2**15), 2**15 - 1).astype(np.int32)


def measure(samples: Int32s, sample_rate: int, cuts: list[int]) -> TrackLevels:
    """Return the levels of a track that is fed in pieces that end at the cuts."""
    meter = TrackMeter(sample_rate, 2.0**15)
    for piece in np.split(samples, sorted(cuts)):
        meter.update(piece)
    return meter.result()


def direct_peak(values: Float64s, sample_rate: int) -> float:
    """Return the true peak with every interpolated value worked out, by plain convolution."""
    padded = np.pad(values, 40)
    phases = interpolator(oversampling_factor(sample_rate))
    between = [np.abs(np.convolve(padded, phase[::-1])).max() for phase in phases]
    return float(max([np.abs(values).max(), *between]))


@settings(max_examples=40, deadline=None)
@given(data=st.data(), seed=st.integers(0, 2**32), sample_rate=st.sampled_from([8_000, 11_025, 44_100]))
def test_blocks_equal_the_whole(data: st.DataObject, seed: int, sample_rate: int) -> None:
    """Any cutting of a track into blocks gives exactly the levels of the track in one block."""
    length = data.draw(st.integers(0, 5 * sample_rate))
    cuts = data.draw(st.lists(st.integers(0, length), max_size=12))
    samples = lively(seed, length) if length else np.zeros(0, dtype=np.int32)
    assert astuple(measure(samples, sample_rate, cuts)) == astuple(measure(samples, sample_rate, []))


@pytest.mark.parametrize("block", [1, 7, 479, 481, 8_000, 8_001])
def test_awkward_blocks_equal_the_whole(block: int) -> None:
    """Blocks of one sample, around a slot and around a second give exactly the levels of one block."""
    samples = lively(3, 9_000)
    cuts = list(range(block, samples.size, block))
    assert astuple(measure(samples, 8_000, cuts)) == astuple(measure(samples, 8_000, []))


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    length=st.integers(1, 20_000),
    smoothness=st.integers(1, 30),
    sample_rate=st.sampled_from([44_100, 48_000, 88_200, 96_000, 192_000]),
)
def test_passing_over_changes_no_peak(seed: int, length: int, smoothness: int, sample_rate: int) -> None:
    """The peak equals that of interpolating everything, to the rounding of a sum of 16 products."""
    rng = np.random.default_rng(seed)
    values = np.convolve(rng.standard_t(3, size=length), np.ones(smoothness), mode="same")
    meter = TruePeakMeter(sample_rate)
    for piece in np.array_split(values, 1 + length // 3000):
        meter.update(piece)
    meter.finish()
    assert meter.peak == pytest.approx(direct_peak(values, sample_rate), rel=1e-13)


@settings(max_examples=40, deadline=None)
@given(
    place=st.integers(0, 200),
    phase=st.integers(0, 2),
    louder=st.floats(1.0, 2.09),
    sample_rate=st.sampled_from([48_000, 96_000]),
)
def test_worst_case_is_not_passed_over(place: int, phase: int, louder: float, sample_rate: int) -> None:
    """Samples with the signs of the filter itself peak at twice their size, and are found under larger samples."""
    phases = interpolator(oversampling_factor(sample_rate))
    taps = phases[phase % len(phases)]
    values = np.zeros(400)
    values[:60] = louder  # the peak so far: larger than any sample that follows
    values[100 + place : 100 + place + taps.size] = np.sign(taps)
    meter = TruePeakMeter(sample_rate)
    for piece in np.split(values, [80]):
        meter.update(piece)
    meter.finish()
    assert meter.peak == pytest.approx(direct_peak(values, sample_rate), rel=1e-13)


@pytest.mark.parametrize("kind", [np.int32, np.float64])
def test_nothing_is_left_of_odd_pieces(kind: type[np.int32 | np.float64]) -> None:
    """What no stretch takes of a piece is taken with the next: a peak at the very end of many odd pieces is found."""
    taps = interpolator(oversampling_factor(48_000))[1]
    values = np.zeros(30 * 1001)
    values[-100 : taps.size - 100] = 1000 * np.sign(taps)
    meter = TruePeakMeter(48_000)
    for piece in np.split(values.astype(kind), 30):
        meter.update(piece)
    meter.finish()
    assert meter.peak == pytest.approx(direct_peak(values, 48_000), rel=1e-13)
    assert meter.peak > 1900


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32), shift=st.integers(1, 6))
def test_levels_follow_gain(seed: int, shift: int) -> None:
    """Doubling every sample raises each level by 6.02 dB, and offset and bits accordingly."""
    samples = np.random.default_rng(seed).integers(-500, 500, 8_000, dtype=np.int32)
    plain, louder = (measure(values, 8_000, []) for values in (samples, samples << shift))
    gain = shift * 20 * np.log10(2)
    for name in ("integrated_lufs", "max_momentary_lufs", "true_peak_dbtp", "sample_peak_dbfs", "rms_dbfs"):
        assert getattr(louder, name) == pytest.approx(getattr(plain, name) + gain, abs=1e-9)
    assert louder.dc_offset == pytest.approx(plain.dc_offset * 2**shift)
    assert louder.bits_in_use == plain.bits_in_use - shift
