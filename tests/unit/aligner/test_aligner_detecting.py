"""Detectors on one track: what is a flaw and what is the material's own."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.detecting import (
    Run,
    constant_runs,
    fit_predictor,
    is_straight,
    loud_edges,
    prediction_errors,
    repeated_from,
    suspect_runs,
)
from scripts.bench.trial_sessions import make_tape

FULL_SCALE = 32_767
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


def test_a_mute_cuts_sound_off() -> None:
    """Zeros in the middle of sound are a mute, held samples a hold, each with its place."""
    samples = SOUND.copy()
    samples[5000:6000] = 0
    samples[20_000:20_400] = 1234
    assert suspect_runs(samples, 1, FULL_SCALE) == [("mute", (5000, 6000)), ("hold", (20_000, 20_400))]


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
    """Twelve holds in a piece are flaws, thirteen are how it sounds."""
    samples = SOUND.copy()
    for count in range(12):
        samples[2000 + 1500 * count : 2100 + 1500 * count] = 700 + count
    assert [kind for kind, _ in suspect_runs(samples, 1, FULL_SCALE)] == ["hold"] * 12
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


def test_a_block_played_twice_gives_its_lag() -> None:
    """A copy of the 700 samples before is found with its lag, and new sound is not."""
    samples = SOUND.copy()
    samples[10_000:10_700] = samples[9300:10_000]
    assert repeated_from(samples, 10_000, 10_700) == 700
    assert repeated_from(SOUND, 10_000, 10_700) is None


def test_the_predictor_foretells_a_tone() -> None:
    """The prediction error of a tone lies far below the tone, that of white noise does not."""
    rng = np.random.default_rng(12)
    tone = 10_000 * np.sin(2 * np.pi * 440 / 48_000 * np.arange(4096)) + rng.normal(size=4096)
    noise = rng.normal(scale=10_000, size=4096)
    for sound, largest, least in ((tone, 1e-3, 0.0), (noise, 1.2, 0.8)):
        errors = prediction_errors(sound, fit_predictor(sound))[24:]
        assert least < np.std(errors) / np.std(sound) < largest
