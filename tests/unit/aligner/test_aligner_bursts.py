"""Noise thrown into sound, as a single capture shows it, and the noise that belongs to the sound."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from assembler.aligner.flaws.noise import bursts
from assembler.aligner.flaws.white import unpredicted_shares
from assembler.aligner.sound.levels import suspect_runs
from scripts.bench.trial_sessions import make_tape

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Float64s, Int32s

LENGTH = 60_000


def _rounded(sound: Float64s) -> Int32s:
    return np.clip(np.rint(sound), -32_768, 32_767).astype(np.int32)


def _speech(rng: np.random.Generator) -> Float64s:
    """Voiced sounds, hisses between them, pauses."""
    out = rng.normal(scale=2, size=LENGTH)
    at = 0
    while at < LENGTH - 9000:
        size = int(rng.integers(2000, 9000))
        seconds = np.arange(size) / 48_000
        envelope = np.sin(np.pi * np.arange(size) / size) ** rng.uniform(0.3, 1.5)
        phase = 2 * np.pi * rng.uniform(90, 250) * seconds
        voiced = np.sum([np.sin(k * phase) / k for k in range(1, 25)], axis=0)
        low = rng.uniform(500, 5000)
        band = butter(2, [low, min(3 * low, 20_000)], "band", fs=48_000, output="sos")
        hissed = 3 * sosfilt(band, rng.normal(size=size))
        white = rng.normal(size=size)
        out[at : at + size] += 3000 * envelope * (voiced, hissed, white, 0 * white)[int(rng.integers(4))]
        at += size
    return out


def _drums(rng: np.random.Generator, *, gated: bool) -> Float64s:
    """Strokes of white noise over a chord that goes on below them."""
    seconds = np.arange(LENGTH) / 48_000
    out = 2000 * np.sin(2 * np.pi * 110 * seconds) + 1000 * np.sin(2 * np.pi * 220.5 * seconds)
    for at in range(3000, LENGTH - 9000, 9000):
        size = int(rng.integers(800, 8000))
        shape = np.ones(size) if gated else np.exp(-np.arange(size) / (size / 5))
        out[at : at + size] += rng.uniform(500, 9000) * shape * rng.normal(size=size)
    return np.asarray(out + rng.normal(scale=3, size=LENGTH), np.float64)


@pytest.mark.parametrize("character", ["dense", "tones"])
@pytest.mark.parametrize("size", [120, 300, 2000, 9000])
def test_a_burst_is_found(character: str, size: int) -> None:
    """Noise in place of the sound is found to a few samples, short or long."""
    rng = np.random.default_rng(61)
    samples = make_tape(character, 16, LENGTH, rng)[0]
    samples[30_000 : 30_000 + size] = rng.integers(-9000, 9000, size)
    (found,) = bursts(samples, 1)
    assert abs(found[0] - 30_000) <= 8
    assert abs(found[1] - 30_000 - size) <= 8


@pytest.mark.parametrize(
    "material",
    [
        _speech,
        lambda rng: _drums(rng, gated=False),
        lambda rng: _drums(rng, gated=True),
        *(
            lambda rng, c=c: make_tape(c, 16, LENGTH, rng)[0]
            for c in ("sparse", "dense", "tones", "quiet", "square")
        ),
    ],
)
def test_sound_holds_no_bursts(material: Callable[[np.random.Generator], Float64s]) -> None:
    """Hisses, drums, noise gated over a chord and plain music are the sound's own."""
    for seed in range(6):
        assert bursts(_rounded(material(np.random.default_rng(seed))), 1) == []


def test_shares_tell_noise_from_tones() -> None:
    """A predictor leaves nearly all of white noise's power and nearly nothing of a tone's."""
    noise = _rounded(np.random.default_rng(62).normal(scale=3000, size=8192))
    tone = _rounded(9000 * np.sin(2 * np.pi * 440 * np.arange(8192) / 48_000))
    assert unpredicted_shares(noise, 512, 24).min() > 0.7
    assert unpredicted_shares(tone, 512, 24).max() < 0.01


def test_shares_are_those_of_the_normal_equations() -> None:
    """The recursion gives what solving each window's normal equations at once gives (numpy's solver)."""
    samples = make_tape("dense", 16, 4096, np.random.default_rng(63))[0]
    size, order = 128, 10
    for index, share in enumerate(unpredicted_shares(samples, size, order)):
        window = samples[index * size // 2 :][:size] * np.hanning(size)
        lags = np.correlate(window, window, "full")[size - 1 :][: order + 1]
        lags[0] = lags[0] * (1 + 1e-9) + 1e-3 * size
        matrix = lags[np.abs(np.subtract.outer(np.arange(order), np.arange(order)))]
        left = lags[0] - lags[1:] @ np.linalg.solve(matrix, lags[1:])
        assert share == pytest.approx(left / lags[0], rel=1e-4, abs=1e-7)


def test_a_pause_in_steady_noise_is_a_mute() -> None:
    """Noise of two steps does not pause for 15 ms and go on; a pause of half a second may be the player's."""
    for size, told in ((700, [("mute", (20_000, 20_700))]), (24_000, [])):
        noise = _rounded(np.random.default_rng(64).normal(scale=2, size=LENGTH))
        noise[20_000 : 20_000 + size] = 0
        noise[[19_999, 20_000 + size]] = 1
        assert suspect_runs(noise, 1, 32_767) == told
