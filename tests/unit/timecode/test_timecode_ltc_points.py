"""From a stripe to the clock fit: which words give points, and what the fit makes of them."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.errors import TimecodeLogError
from assembler.timecode import FRAME_RATES, fit_clock, frame_rate
from assembler.timecode.ltc import decode_ltc, encode_ltc, ltc_points

RATE = frame_rate("30")
SAMPLE_RATE = 48_000


@pytest.mark.parametrize("name", FRAME_RATES)
@pytest.mark.parametrize("sample_rate", [44_100, 48_000])
def test_fit_places_pass_to_a_tenth_sample(name: str, sample_rate: int) -> None:
    """A clean stripe of ten seconds places its pass within a tenth of a sample, and its clock is locked."""
    rate = frame_rate(name)
    made = encode_ltc(90_000, 10 * rate.nominal, rate, sample_rate, first_sample=1234.4)
    points = ltc_points(decode_ltc([np.rint(2**15 * made).astype(np.int32)], sample_rate, rate))
    fit = fit_clock(points, rate, sample_rate)
    assert (fit.verdict, len(fit.stretches), fit.missing_share) == ("locked", 1, 0.0)
    assert fit.stretches[0].shift_samples == pytest.approx(
        90_000 * sample_rate / float(rate.exact) - 1234.4, abs=0.1
    )
    assert points.heard == points.seconds.size == 4 * (10 * rate.nominal - 1)
    assert points.rate_code is None


@pytest.mark.parametrize("noise_db", [None, -30])
@pytest.mark.parametrize("sample_rate", [44_100, 48_000])
def test_places_err_both_ways_within_what_is_stated(sample_rate: int, noise_db: int | None) -> None:
    """Stripes at many places between samples are placed without bias; the stated interval holds nearly all."""
    generator = np.random.default_rng(11)
    errors, stated = [], []
    for first_sample in generator.uniform(0, 3000, 24):
        made = encode_ltc(90_000, 240, RATE, sample_rate, first_sample=first_sample)
        if noise_db is not None:
            # Against the stripe's peak.
            made += generator.normal(scale=0.5 * 10 ** (noise_db / 20), size=made.size)
        points = ltc_points(decode_ltc([np.rint(2**15 * made).astype(np.int32)], sample_rate, RATE))
        (stretch,) = fit_clock(points, RATE, sample_rate).stretches
        errors.append(stretch.shift_samples - (90_000 * sample_rate / 30 - first_sample))
        stated.append(stretch.uncertainty_samples)
    assert abs(np.mean(errors)) < 0.02
    assert np.mean(np.abs(errors) <= 1.96 * np.array(stated)) >= 0.9
    assert max(stated) < 0.04


def test_one_place_between_samples_for_all_edges_is_in_the_stated_error() -> None:
    """Where a cell has whole samples all edges are off alike, which is stated; where they fall everywhere it is not."""
    alike, even = (
        ltc_points(decode_ltc([encode_ltc(900, 150, RATE, rate, first_sample=300.3)], rate, RATE))
        for rate in (48_000, 44_100)
    )
    assert alike.two_sided
    assert 48_000 * alike.common_error_seconds > 0.02
    assert 44_100 * even.common_error_seconds < 0.005


def test_points_run_on_past_midnight() -> None:
    """Over midnight points run on, four a frame, in the middle of quarters."""
    made = encode_ltc(RATE.frames_per_day - 5, 12, RATE, SAMPLE_RATE, first_sample=500)
    points = ltc_points(decode_ltc([made], SAMPLE_RATE, RATE))
    expected = RATE.frames_per_day - 5 + (np.arange(44) + 0.5) / 4
    np.testing.assert_array_equal(points.frames, expected)
    np.testing.assert_allclose(
        points.seconds, (500 + 1600 * (expected - expected[0] + 0.125)) / SAMPLE_RATE, atol=1e-5
    )


def test_backwards_over_midnight_stays_positive() -> None:
    """A tape wound back over midnight and played on has points from the day before midnight on."""
    after = encode_ltc(0, 20, RATE, SAMPLE_RATE, first_sample=500)
    before = encode_ltc(RATE.frames_per_day - 20, 40, RATE, SAMPLE_RATE, first_sample=500)
    points = ltc_points(decode_ltc([after, before], SAMPLE_RATE, RATE))
    assert points.frames.min() == RATE.frames_per_day - 20 + 0.125
    assert points.frames[0] == RATE.frames_per_day + 0.125


def test_reverse_motion_is_told_and_not_used() -> None:
    """Where the tape ran backwards is told with place and length; only forward motion gives points."""
    made = encode_ltc(3000, 90, RATE, SAMPLE_RATE)
    whole = np.concatenate((made, made[::-1], made))
    points = ltc_points(decode_ltc([whole], SAMPLE_RATE, RATE))
    told = [finding for finding in points.findings if finding.kind == "reverse"]
    assert len(told) == 1
    assert told[0].seconds == pytest.approx(3.0, abs=0.05)
    assert points.reverse_seconds == pytest.approx(3.0, abs=0.1)
    assert ((points.seconds < 3.0) | (points.seconds > 6.0)).all()
    slopes = np.diff(points.frames[: points.frames.size // 2])
    assert (slopes > 0).all()


def test_only_backwards_is_refused() -> None:
    """A stripe that only runs backwards cannot place the pass, and says what can."""
    made = encode_ltc(3000, 60, RATE, SAMPLE_RATE)
    with pytest.raises(TimecodeLogError, match=r"only runs backwards .* start, or bext or audio"):
        ltc_points(decode_ltc([made[::-1]], SAMPLE_RATE, RATE))


def test_another_speed_is_told_and_not_used() -> None:
    """Words that pass at half or twice the speed of play are told and give no points, however many they are."""
    slow = encode_ltc(3000, 30, RATE, SAMPLE_RATE, speed=0.5)
    play = encode_ltc(3030, 90, RATE, SAMPLE_RATE)
    fast = encode_ltc(3120, 100, RATE, SAMPLE_RATE, speed=2.0)
    points = ltc_points(decode_ltc([slow, play, fast], SAMPLE_RATE, RATE))
    told = [finding.seconds for finding in points.findings if finding.kind == "off_speed"]
    assert told == pytest.approx([0.03, 5.0], abs=0.1)
    assert 3029 <= points.frames.min() < 3032
    assert 3118 < points.frames.max() <= 3121


def test_wrong_speed_all_through_is_left_to_the_fit() -> None:
    """A stripe of 48 kHz read as 44.1 kHz gives all its points, and the fit names the mislabelled rate."""
    made = encode_ltc(3000, 300, RATE, 48_000, first_sample=700)
    fit = fit_clock(ltc_points(decode_ltc([made], 44_100, RATE)), RATE, 44_100)
    assert fit.verdict == "relabel"
    assert fit.rate_ratio == pytest.approx(48_000 / 44_100, rel=1e-6)
