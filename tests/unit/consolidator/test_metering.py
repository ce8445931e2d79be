"""The meter's counts, its edges, and what it answers when a measure is not defined."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pyloudnorm
import pytest
from scipy.signal import sosfilt

from assembler.consolidator.metering import TrackLevels, TrackMeter
from assembler.consolidator.metering.levels import ClipCounter
from assembler.consolidator.metering.loudness import LoudnessMeter, PowerHistogram
from assembler.consolidator.metering.true_peak import HALF_TAPS, interpolator, oversampling_factor
from assembler.consolidator.metering.weighting import Weighting, k_weighting


def measure(samples: object, sample_rate: int = 48_000, full_scale: float = 2.0**15) -> TrackLevels:
    """Return the levels of a track."""
    meter = TrackMeter(sample_rate, full_scale)
    meter.update(np.asarray(samples, dtype=np.int32))
    return meter.result()


@pytest.mark.parametrize("length", [0, 1, 48_000 * 4 + 7])
def test_silence_has_no_levels(length: int) -> None:
    """Digital silence of any length has no loudness, range, peaks or RMS, and uses no bits."""
    levels = measure(np.zeros(length))
    assert levels.integrated_lufs is levels.loudness_range_lu is levels.max_momentary_lufs is None
    assert (
        levels.max_short_term_lufs
        is levels.true_peak_dbtp
        is levels.sample_peak_dbfs
        is levels.rms_dbfs
        is None
    )
    assert (levels.dc_offset, levels.bits_in_use, levels.clipped_runs) == (0, 0, 0)
    assert levels.silent_share == (1 if length else 0)


def test_short_tracks_have_fewer_levels() -> None:
    """Momentary and integrated need 0.4 s, short-term and range 3 s; an incomplete window is no window."""
    tone = np.rint(8000 * np.sin(np.arange(3 * 48_000) / 8))
    under_momentary = measure(tone[: 19_200 - 1])
    assert under_momentary.integrated_lufs is under_momentary.max_momentary_lufs is None
    assert under_momentary.rms_dbfs is not None
    under_short_term = measure(tone[:-1])
    assert under_short_term.integrated_lufs is not None
    assert under_short_term.max_short_term_lufs is under_short_term.loudness_range_lu is None
    assert measure(tone[:19_200]).integrated_lufs is not None
    assert measure(tone).loudness_range_lu is not None


def test_incomplete_last_block_is_dropped() -> None:
    """0.46 s of tone reads as its first 0.4 s: BS.1770-5 Annex 1 drops an incomplete last gating block."""
    tone = np.rint(8000 * np.sin(2 * np.pi * np.arange(22_080) / 48))
    assert measure(tone).integrated_lufs == measure(tone[:19_200]).integrated_lufs


def test_peak_and_rms() -> None:
    """The most negative code is 0 dBFS, and held it has an RMS of 0 dBFS (common practice)."""
    levels = measure(np.tile([-(2**15), -(2**15)], 100))
    assert levels.sample_peak_dbfs == 0
    assert levels.rms_dbfs == pytest.approx(0, abs=1e-12)
    assert levels.dc_offset == -1


@pytest.mark.parametrize(
    ("samples", "full_scale", "bits"),
    [
        ([1, 0], 2**15, 16),
        ([-1], 2**15, 16),
        ([256, -512], 2**23, 16),
        ([16, 32], 2**23, 20),
        ([-(2**23)], 2**23, 1),
        ([1, 256], 2**23, 24),
    ],
)
def test_bits_in_use(samples: list[int], full_scale: float, bits: int) -> None:
    """Bits in use end at the lowest bit that any sample sets."""
    assert measure(samples, full_scale=full_scale).bits_in_use == bits


@pytest.mark.parametrize(
    ("samples", "runs"),
    [
        ([9, 9, 9], 1),
        ([9, 9, 0, 9], 0),
        ([9, 9, -9, -10, -9, 0], 1),
        ([-9, -9, -9, 9, 9, 9, 9], 2),
        ([0, 9, 9, 9, 0, 0, -10, -10, -10, 0], 2),
        ([8, 8, 8, 8], 0),
        ([9] * 50, 1),
    ],
)
@pytest.mark.parametrize("block", [1, 2, 3, 100])
def test_clipped_runs(samples: list[int], runs: int, block: int) -> None:
    """Three in a row at one end of the scale (here -10 to 9) are a run, wherever blocks are cut."""
    counter = ClipCounter(10)
    for first in range(0, len(samples), block):
        counter.update(np.array(samples[first : first + block], dtype=np.int32))
    assert counter.runs() == runs


def test_silent_share_counts_whole_slots() -> None:
    """Zeros count as silence where they fill a 10 ms slot, or the short last one; lone zeros do not."""
    samples = np.tile([0, 1], 480)
    samples[480:] = 0
    assert measure(samples).silent_share == 0.5
    assert measure(np.concatenate((samples, np.zeros(240)))).silent_share == pytest.approx(720 / 1200)


def test_strided_track_is_measured_as_its_copy() -> None:
    """A column of a block of several tracks is measured like a track of its own."""
    block = np.random.default_rng(1).integers(-9000, 9000, (60_000, 3), dtype=np.int32)
    meter = TrackMeter(48_000, 2.0**15)
    meter.update(block[:, 1])
    assert meter.result() == measure(block[:, 1].copy())


def test_track_ends_with_its_result() -> None:
    """The result can be asked for again, but nothing can be added to it."""
    meter = TrackMeter(48_000, 2.0**15)
    meter.update(np.array([1], dtype=np.int32))
    assert meter.result() is meter.result()
    with pytest.raises(ValueError, match="finished"):
        meter.update(np.array([1], dtype=np.int32))


@pytest.mark.parametrize(
    ("sample_rate", "full_scale", "words"),
    [
        (7_999, 2.0**15, "sample rate 7999"),
        (800_000, 2.0**15, "sample rate 800000"),
        (48_000, 32_767.0, "full scale 32767.0"),
        (48_000, 0.0, "full scale 0.0"),
        (48_000, 2.0**40, "full scale"),
    ],
)
def test_unusable_arguments(sample_rate: int, full_scale: float, words: str) -> None:
    """A rate or full scale outside what is allowed is refused by name and value."""
    with pytest.raises(ValueError, match=words):
        TrackMeter(sample_rate, full_scale)


def test_memory_does_not_grow() -> None:
    """After the first 24 s the loudness meter never holds more than before."""
    meter = LoudnessMeter(8_000, 2.0**15)
    sizes = []
    for _ in range(48):
        meter.update(np.full(8_000, 100.0))
        held = [value for value in vars(meter).values() if isinstance(value, np.ndarray | list)]
        sizes.append(
            sum(sum(map(np.size, value)) if isinstance(value, list) else value.size for value in held)
        )
    assert max(sizes[24:]) <= max(sizes[:24])


def test_filter_comes_to_rest_in_silence() -> None:
    """In long silence the filter's memory becomes exactly zero, not a number too small to be fast."""
    meter = LoudnessMeter(48_000, 2.0**23)
    meter.update(np.full(48_000, 2.0**23))
    for _ in range(4):
        meter.update(np.zeros(48_000))
        state = meter._weighting.state  # noqa: SLF001 -- the slowness it guards against cannot be seen from outside
        assert ((state == 0) | (np.abs(state) > np.finfo(np.float64).tiny)).all()
    assert not state.any()


def test_gates_on_a_histogram() -> None:
    """Powers at or under -70 LUFS, and those 10 LU under the mean of the rest, are not in the mean."""
    powers = 10 ** ((np.array([-70.5, -50.0, -20.0, -20.0]) + 0.691) / 10)
    histogram = PowerHistogram()
    histogram.add(powers)
    assert histogram.integrated_lufs() == pytest.approx(-20, abs=1e-9)
    assert histogram.range_lu() == pytest.approx(0, abs=1e-9)


def test_absolute_gate() -> None:
    """Where nothing louder hides it, the gate at -70 LUFS alone decides what is in the mean."""
    powers = 10 ** ((np.array([-70.5, -70.1, -69.5]) + 0.691) / 10)
    histogram = PowerHistogram()
    histogram.add(powers[:2])
    assert histogram.integrated_lufs() is histogram.range_lu() is None
    histogram.add(powers)
    assert histogram.integrated_lufs() == pytest.approx(-69.5, abs=1e-9)


def test_oversampling_by_rate() -> None:
    """All rates reach 176.4 kHz: BS.1770-5 Annex 2 asks for four times at 48 kHz and less at higher rates."""
    factors = {rate: oversampling_factor(rate) for rate in (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)}
    assert factors == {44_100: 4, 48_000: 4, 88_200: 2, 96_000: 2, 176_400: 1, 192_000: 1}
    assert interpolator(1).shape == (0, 2 * HALF_TAPS)


@pytest.mark.parametrize("factor", [2, 4])
def test_interpolator_is_flat(factor: int) -> None:
    """The waveform of a tone is met within 0.05 dB, in level and place, up to 0.8 of half the sample rate."""
    places = np.arange(1 - HALF_TAPS, HALF_TAPS + 1)
    for share in np.linspace(0, 0.8, 33):
        for phase, taps in enumerate(interpolator(factor), 1):
            met = np.exp(1j * np.pi * share * places) @ taps
            assert abs(met - np.exp(1j * np.pi * share * phase / factor)) < 0.006


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_056, 48_000, 96_000])
def test_weighting_is_the_recursive_filter(rate: int) -> None:
    """Weighting by products gives what scipy's loop over the samples gives, however the track is cut."""
    random = np.random.default_rng(rate)
    values = np.round(random.normal(size=2 * rate) * 1e6) + 3e6
    values[rate // 2 : rate] = 0
    weighting = Weighting(rate)
    cuts = [0, 1, 50, 1000, rate, rate + 47, 2 * rate]
    found = np.concatenate([weighting.weighted(values[a:b]) for a, b in pairwise(cuts)])
    expected = sosfilt(k_weighting(rate), values)
    assert np.abs(found - expected).max() <= 1e-9 * np.abs(expected).max()


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 48_000, 192_000])
def test_the_weighting_filter_is_that_of_pyloudnorm(rate: int) -> None:
    """At every rate the coefficients are those that pyloudnorm derives by the same published formulas."""
    filters = pyloudnorm.Meter(rate, filter_class="DeMan")._filters  # noqa: SLF001 -- their only access
    expected = [[*filters[name].b, *filters[name].a] for name in ("high_pass_DeMan", "high_shelf_DeMan")]
    np.testing.assert_allclose(k_weighting(rate), expected, rtol=0, atol=1e-15)
