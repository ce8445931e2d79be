"""Detectors on one track: what is a flaw and what is the material's own."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.linalg import solve_toeplitz

from assembler.aligner.flaws.alone import lone_flaws
from assembler.aligner.records.limits import LEAST_TELLING
from assembler.aligner.sound.levels import (
    Run,
    constant_runs,
    fit_predictor,
    is_straight,
    loud_edges,
    prediction_errors,
    suspect_runs,
)
from scripts.bench.trial_sessions import make_tape
from scripts.bench.trial_sounds import CHARACTERS

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Float64s, Int32s

FULL_SCALE = 32_767
LONE = 140_000
SOUND = make_tape("dense", 16, 48_000, np.random.default_rng(11))[0]


@pytest.mark.parametrize("start", range(1, 20))
def test_a_run_is_found_wherever_it_begins(start: int) -> None:
    """A run of 40 samples is given whole, at every place of the words it is looked for in."""
    samples = np.arange(200, dtype=np.int32)
    samples[start : start + 40] = -7
    assert constant_runs(samples) == [Run(start, start + 40, -7)]


def test_short_runs_are_let_by() -> None:
    """31 equal samples are no run, 32 are."""
    samples = np.arange(200, dtype=np.int32)
    samples[50:81] = -7
    assert constant_runs(samples) == []
    samples[81] = -7
    assert constant_runs(samples) == [Run(50, 82, -7)]


@pytest.mark.parametrize("size", range(600, 608))
def test_runs_are_those_of_the_standard_library(size: int) -> None:
    """Runs at both ends and right behind each other are what itertools.groupby makes of the samples."""
    rng = np.random.default_rng(size)
    samples = np.repeat(rng.integers(-2, 3, 40), rng.integers(1, 60, 40))[-size:].astype(np.int32)
    samples[:45] = samples[-33:] = 9
    expected, at = [], 0
    for value, group in groupby(samples.tolist()):
        count = len(list(group))
        expected += [Run(at, at + count, value)] if count >= 32 else []
        at += count
    assert constant_runs(samples) == expected


def test_a_mute_cuts_sound_off() -> None:
    """Zeros in the middle of sound are a mute, held samples a hold, each with its place."""
    samples = SOUND.copy()
    samples[5000:6000] = 0
    samples[20_000:20_400] = 1234
    assert suspect_runs(samples, 1, FULL_SCALE) == [("mute", (5000, 6000)), ("hold", (20_000, 20_400))]
    assert suspect_runs(samples, 1, FULL_SCALE, at=20_399) == [("hold", (20_000, 20_400))]
    assert suspect_runs(samples, 1, FULL_SCALE, at=20_400) == []


def test_silence_with_quiet_edges_is_recorded() -> None:
    """Sound that dies away into zeros and comes back slowly is no flaw."""
    shape = np.ones(SOUND.size)
    shape[8000:12_000] = np.linspace(1, 0, 4000)
    shape[12_000:14_000] = 0
    shape[14_000:18_000] = np.linspace(0, 1, 4000)
    faded = np.rint(SOUND * shape).astype(np.int32)
    assert constant_runs(faded)
    assert suspect_runs(faded, 1, FULL_SCALE) == []


def test_clipped_peaks_and_square_waves_are_no_holds() -> None:
    """A run at full scale is a clipped peak; levels that a square wave holds are its own."""
    clipped = SOUND.copy()
    clipped[5000:5100] = FULL_SCALE
    square = np.tile(np.repeat(np.array([9000, -9000], np.int32), 100), 100)
    assert suspect_runs(clipped, 1, FULL_SCALE) == []
    assert suspect_runs(square, 1, FULL_SCALE) == []


def test_levels_held_again_and_again_are_the_materials_own() -> None:
    """As many holds in a piece as tell something are flaws, one more are how it sounds."""
    samples = SOUND.copy()
    for count in range(LEAST_TELLING):
        samples[2000 + 1500 * count : 2100 + 1500 * count] = 700 + count
    assert [kind for kind, _ in suspect_runs(samples, 1, FULL_SCALE)] == ["hold"] * LEAST_TELLING
    samples[40_000:40_100] = 777
    assert suspect_runs(samples, 1, FULL_SCALE) == []


def test_edges_are_told_apart() -> None:
    """A mute that begins in a rest has a quiet edge before it and a loud one behind it."""
    samples = SOUND.copy()
    samples[3000:9000] = 0
    assert loud_edges(samples, Run(6000, 9000, 0), 1) == (False, True)
    assert loud_edges(samples, Run(3000, 9000, 0), 1) == (True, True)


def test_a_straight_line_is_told_from_sound() -> None:
    """Interpolated samples lie on the line between their neighbours; recorded ones do not."""
    samples = SOUND.copy()
    ends = samples[[999, 1040]].astype(np.float64)
    samples[1000:1040] = np.rint(np.interp(np.arange(1000, 1040), [999, 1040], ends))
    assert is_straight(samples, 1000, 1040, 1)
    assert not is_straight(SOUND, 1000, 1040, 1)
    assert not is_straight(samples, 0, 40, 1)


def test_the_predictor_foretells_a_tone() -> None:
    """The prediction error of a tone lies far below the tone, that of white noise does not."""
    rng = np.random.default_rng(12)
    tone = 10_000 * np.sin(2 * np.pi * 440 / 48_000 * np.arange(4096)) + rng.normal(size=4096)
    noise = rng.normal(scale=10_000, size=4096)
    for sound, largest, least in ((tone, 1e-3, 0.0), (noise, 1.2, 0.8)):
        errors = prediction_errors(sound, fit_predictor(sound))[24:]
        assert least < np.std(errors) / np.std(sound) < largest


@pytest.mark.parametrize("size", [499, 512, 1024, 4099])
def test_the_predictor_solves_the_normal_equations(size: int) -> None:
    """At prime lengths too it is what numpy's correlation and scipy's solver make of the windowed sound."""
    context = SOUND[:size].astype(np.float64)
    windowed = context * np.hanning(size)
    correlation = np.correlate(windowed, windowed, "full")[size - 1 : size + 24]
    correlation[0] = correlation[0] * (1 + 1e-9) + 1e-3 * size
    expected = solve_toeplitz(correlation[:-1], correlation[1:])
    np.testing.assert_allclose(fit_predictor(context), expected, rtol=1e-6, atol=1e-6)


def _drums(rng: np.random.Generator) -> Float64s:
    """Return hits of noise and of a falling tone over a hum, some at the very same level and some as a fast roll."""
    seconds = np.arange(LONE) / 48_000
    out = 1500 * np.sin(2 * np.pi * 110 * seconds)
    snare = rng.normal(size=6000) * np.exp(-np.arange(6000) / 900) * 9000
    kick = np.sin(2 * np.pi * (60 + 90 * np.exp(-np.arange(6000) / 400)) * np.arange(6000) / 48_000)
    for at in range(3000, LONE - 10_000, 12_000):
        out[at : at + 6000] += snare
        out[at + 6000 : at + 12_000] += 12_000 * kick * np.exp(-np.arange(6000) / 1500)
    for at in range(50_000, 62_000, 1500):
        out[at : at + 1500] = snare[:1500]
    return np.asarray(out, np.float64)


def _gated_noise(rng: np.random.Generator) -> Float64s:
    """Return noise that a synthesizer's gate lets through for 20 to 100 ms, silence between."""
    gate = np.repeat(rng.random(LONE // 960) < 0.4, 960)
    out = np.zeros(LONE)
    out[: gate.size] = gate * rng.uniform(-8000, 8000, gate.size)
    return out


def _restarted(rng: np.random.Generator) -> Float64s:
    """Return tones that begin anew at a place of their period, without a pause, and now and then at another pitch."""
    pieces = [
        8000 * np.sin(2 * np.pi * hertz * np.arange(size) / 48_000 + rng.uniform(0, 6))
        for size, hertz in zip(
            rng.integers(1500, 9000, 80), rng.choice([220.0, 220.0, 331.0], 80), strict=True
        )
    ]
    return np.asarray(np.concatenate(pieces)[:LONE], np.float64)


def _clipped(rng: np.random.Generator) -> Float64s:
    """Return dense sound far over full scale."""
    return np.asarray(make_tape("dense", 16, LONE, rng)[0] * 6.0, np.float64)


def _ramps(_rng: np.random.Generator) -> Float64s:
    """Return a sawtooth and a triangle, straight by nature, and a slow sine that is nearly straight for long."""
    phase = np.arange(LONE) * 97.3 / 48_000 % 1.0
    third = LONE // 3
    slow = 30_000 * np.sin(2 * np.pi * 30 * np.arange(LONE) / 48_000)
    return (
        np.concatenate((2 * phase[:third] - 1, 4 * np.abs(phase[:third] - 0.5) - 1, slow[:third] / 12_000))
        * 12_000
    )


def _bars(rng: np.random.Generator) -> Float64s:
    """Return short bars that a sequencer plays twice each, dying away at their ends."""
    bars = [
        np.tile(rng.normal(size=size) * 6000 * np.exp(-np.arange(size) / (size / 5)), 2)
        for size in rng.integers(2000, 4000, 30)
    ]
    return np.asarray(np.concatenate(bars)[:LONE], np.float64)


@pytest.mark.parametrize("make", [_drums, _gated_noise, _restarted, _clipped, _ramps, _bars])
def test_what_instruments_do_is_no_flaw_of_a_lone_capture(
    make: Callable[[np.random.Generator], Float64s],
) -> None:
    """Hits, gates, restarted tones, clipping, straight waves and repeated bars are told as nothing."""
    sound = make(np.random.default_rng(17))
    assert lone_flaws(np.clip(np.rint(sound), -32_768, 32_767).astype(np.int32), 1) == []


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("character", CHARACTERS)
def test_good_sound_of_any_character_has_no_lone_flaw(character: str, bits: int) -> None:
    """Nothing is told of what a tape holds."""
    for track in make_tape(character, bits, LONE, np.random.default_rng(23)):
        assert lone_flaws(track, 1) == []


def _spoiled(kind: str, size: int) -> Int32s:
    sound: Int32s = make_tape("tones", 16, LONE, np.random.default_rng(4))[3].copy()
    at, end = 60_000, 60_000 + size
    thrown: dict[str, Float64s] = {
        "straight": np.linspace(sound[at - 1], sound[end], size + 2)[1:-1],
        "repeat": sound[at - size : at].astype(np.float64),
        "burst": np.random.default_rng(9).uniform(-9000, 9000, size),
    }
    sound[at:end] = np.rint(thrown[kind])
    return sound


@pytest.mark.parametrize(("kind", "size"), [("straight", 90), ("repeat", 700), ("burst", 600)])
def test_what_interrupts_a_sound_is_told_without_another_capture(kind: str, size: int) -> None:
    """A flaw over a sound that goes on behind it is told with its kind, and its place to a few samples."""
    ((found, (start, end)),) = lone_flaws(_spoiled(kind, size), 1)
    assert found == kind
    assert start == pytest.approx(60_000, abs=4)
    assert end == pytest.approx(60_000 + size, abs=28)
