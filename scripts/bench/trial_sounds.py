"""Sounds that invented tapes are made of, each of another nature.

A sound is an array of floats, shape ``(samples,)``, in steps of the tape's word length; ``scale`` is its full scale.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.signal import lfilter

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Float64s

    Sound = Callable[[int, float, np.random.Generator], Float64s]

SAMPLE_RATE: Final = 48_000


def sounds_of(character: str, tracks: int, rng: np.random.Generator) -> list[Sound]:
    """Return the sound of each track of a tape: all of one kind, or for a band each another, in any order."""
    if character != "band":
        return [_SOUNDS[character]] * tracks
    return [_BAND[int(index)] for index in np.resize(rng.permutation(len(_BAND)), tracks)]


def _sparse(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Struck notes that die away into digital silence."""
    out = np.zeros(length)
    for at in rng.integers(0, length, max(2, length // SAMPLE_RATE)):
        size = min(length - int(at), int(rng.integers(8_000, 40_000)))
        seconds = np.arange(size) / SAMPLE_RATE
        hertz = rng.uniform(80, 1500)
        tone = np.sin(2 * np.pi * hertz * seconds) + 0.4 * np.sin(2 * np.pi * 2.76 * hertz * seconds)
        shape = np.exp(-seconds * rng.uniform(8, 25)) * np.minimum(1.0, np.arange(size) / 60)
        tail = np.clip((size - np.arange(size)) / 2000, 0.0, 1.0)
        out[at : at + size] += scale * rng.uniform(0.05, 0.4) * tone * shape * tail
    return out


def _dense(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Harmonics with vibrato over coloured noise: something sounds at every moment."""
    seconds = np.arange(length) / SAMPLE_RATE
    phase = 2 * np.pi * rng.uniform(60, 400) * seconds + 2 * np.sin(2 * np.pi * rng.uniform(3, 6) * seconds)
    tone = sum(np.sin(k * phase) / k for k in range(1, 7))
    swell = 0.6 + 0.4 * np.sin(2 * np.pi * rng.uniform(0.2, 1.5) * seconds)
    noise = lfilter([0.2], [1.0, -rng.uniform(0.3, 0.9)], rng.normal(size=length))
    return np.asarray(scale * (0.2 * swell * tone + rng.uniform(0.002, 0.05) * noise), np.float64)


def _tones(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Pure synthetic tones, no noise at all."""
    seconds = np.arange(length) / SAMPLE_RATE
    out = np.zeros(length)
    for _ in range(int(rng.integers(1, 4))):
        out += np.sin(2 * np.pi * rng.uniform(40, 4000) * seconds + rng.uniform(0, 6))
    return scale * rng.uniform(0.05, 0.3) * out


def _quiet(length: int, _scale: float, rng: np.random.Generator) -> Float64s:
    """Low noise of a few steps."""
    return rng.normal(scale=rng.uniform(0.7, 4.0), size=length)


def _square(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Notes of a square-wave synthesizer with rests: it holds its levels by nature."""
    out = np.zeros(length)
    at = 0
    while at < length:
        size = int(rng.integers(4_000, 30_000))
        seconds = np.arange(min(size, length - at)) / SAMPLE_RATE
        if rng.random() < 0.8:
            wave = np.sign(np.sin(2 * np.pi * rng.uniform(40, 900) * seconds + 0.1))
            out[at : at + size] = wave * scale * rng.uniform(0.05, 0.5)
        at += size
    return out


def _loop(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """One bar that repeats exactly."""
    bar = _dense(24_000, scale, rng)
    bar *= np.minimum(1.0, np.arange(bar.size) / 500) * np.minimum(1.0, np.arange(bar.size)[::-1] / 500)
    return np.resize(bar, length)


def _bass(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Plucked low notes with rests: long periods of a soft saw tooth."""
    out = np.zeros(length)
    for start, end in _notes(length, (9_000, 36_000), 0.75, rng):
        size = end - start
        seconds = np.arange(size) / SAMPLE_RATE
        tone = _low_passed(_saw(rng.uniform(38, 110) * seconds), rng.uniform(300, 1500))
        out[start:end] = tone * np.exp(-rng.uniform(0.5, 4) * seconds) * _faded(size, 40, 400)
    return scale * rng.uniform(0.2, 0.7) * out


def _voice(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Syllables, voiced or hissed, through two resonances, over a faint noise of the room."""
    out = rng.normal(scale=rng.uniform(0, 3e-4), size=length)
    for start, end in _notes(length, (3_000, 15_000), 0.75, rng):
        seconds = np.arange(end - start) / SAMPLE_RATE
        glide = rng.uniform(90, 250) * seconds + rng.uniform(-40, 40) * seconds**2
        source = rng.normal(size=seconds.size) if rng.random() < 0.35 else _saw(glide)
        sung = sum(_resonated(source, rng.uniform(*range_), 80) for range_ in ((250, 900), (900, 3500)))
        out[start:end] += sung * np.hanning(end - start)
    return scale * rng.uniform(0.1, 0.5) * out / 3


def _guitar(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Chords driven far beyond a soft limit, now and then into the word's own."""
    tone = np.zeros(length)
    for start, end in _notes(length, (12_000, 60_000), 0.85, rng):
        seconds = np.arange(end - start) / SAMPLE_RATE
        root = rng.uniform(80, 200)
        chord = np.sum([_saw(root * ratio * seconds + rng.random()) for ratio in (1.0, 1.5, 2.0)], axis=0)
        tone[start:end] = _low_passed(chord, 3000) * np.exp(-rng.uniform(0.2, 1.5) * seconds)
    driven = np.tanh(rng.uniform(2, 8) * tone) * rng.uniform(0.6, 1.3)
    return scale * (driven + rng.normal(scale=0.001, size=length))


def _drums(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """A drum machine: three samples that repeat bit for bit, some cut off at their ends."""
    size = int(rng.integers(4_000, 10_000))
    seconds = np.arange(size) / SAMPLE_RATE
    fall = rng.uniform(5, 25)
    kick = np.sin(2 * np.pi * (50 * seconds + 8 * (1 - np.exp(-30 * seconds)))) * np.exp(-fall * seconds)
    snare = (rng.normal(size=size) + np.sin(2 * np.pi * 190 * seconds)) / 2 * np.exp(-fall * seconds)
    hat = np.diff(rng.normal(size=size + 1)) * 0.3 * np.exp(-60 * seconds)
    struck = np.rint(scale * rng.uniform(0.2, 0.7) * np.array([kick, snare, hat, np.zeros(size)]))
    out = np.zeros(length + size)
    step = int(rng.integers(5_000, 9_000))
    beats = rng.integers(0, 4, 16)
    for index, start in enumerate(range(0, length, step)):
        out[start : start + size] = struck[beats[index % beats.size]]
    return out[:length]


def _pad(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Slow chords of detuned saw teeth behind a low-pass filter."""
    out = np.zeros(length)
    for start, end in _notes(length, (40_000, 160_000), 0.95, rng):
        seconds = np.arange(end - start) / SAMPLE_RATE
        root = rng.uniform(100, 260)
        voices = [
            _saw(root * r * (1 + d) * seconds + rng.random()) for r in (1, 1.25, 1.5) for d in (-3e-3, 2e-3)
        ]
        out[start:end] = _low_passed(np.sum(voices, axis=0), rng.uniform(400, 3000)) * _faded(
            end - start, 9_000, 9_000
        )
    return scale * rng.uniform(0.03, 0.12) * out


def _piano(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Struck notes over each other, with partials that are not quite harmonic."""
    size = 2 * SAMPLE_RATE
    seconds = np.arange(size) / SAMPLE_RATE
    out = np.zeros(length + size)
    for start in rng.integers(0, length, 2 * length // SAMPLE_RATE):
        hertz = rng.uniform(100, 800)
        partials = [
            np.sin(2 * np.pi * hertz * k * np.sqrt(1 + 4e-4 * k * k) * seconds)
            * np.exp(-(1.5 + k) * seconds)
            / k
            for k in range(1, 6)
        ]
        out[start : start + size] += sum(partials) * _faded(size, 60, 20_000)
    return scale * rng.uniform(0.05, 0.2) * out[:length]


def _pulse(length: int, scale: float, rng: np.random.Generator) -> Float64s:
    """Two pulse waves at once, of unlike widths: four levels."""
    out = np.zeros(length)
    for start, end in _notes(length, (6_000, 30_000), 0.8, rng):
        seconds = np.arange(end - start) / SAMPLE_RATE
        width = rng.choice([0.125, 0.25, 0.5])
        out[start:end] = sum(
            np.where(hertz * seconds % 1 < width, 1, -1) for hertz in rng.uniform(100, 600, 2)
        )
    return scale * rng.uniform(0.05, 0.3) * out


def _offset(length: int, _scale: float, rng: np.random.Generator) -> Float64s:
    """Low noise around a level that is not zero: a converter's offset."""
    return rng.normal(rng.uniform(-100, 100), rng.uniform(0.8, 6), size=length)


def _notes(
    length: int, sizes: tuple[int, int], share: float, rng: np.random.Generator
) -> list[tuple[int, int]]:
    """Return where notes of random sizes sound, the others being rests."""
    notes = []
    at = 0
    while at < length:
        end = min(at + int(rng.integers(*sizes)), length)
        if rng.random() < share:
            notes.append((at, end))
        at = end
    return notes


def _saw(turns: Float64s) -> Float64s:
    return np.asarray(2 * (turns % 1) - 1, np.float64)


def _low_passed(sound: Float64s, hertz: float) -> Float64s:
    """Return a sound behind two one-pole filters."""
    pole = float(np.exp(-2 * np.pi * hertz / SAMPLE_RATE))
    return np.asarray(lfilter([(1 - pole) ** 2], [1, -2 * pole, pole**2], sound), np.float64)


def _resonated(sound: Float64s, hertz: float, width: float) -> Float64s:
    radius = float(np.exp(-np.pi * width / SAMPLE_RATE))
    turn = 2 * np.pi * hertz / SAMPLE_RATE
    return np.asarray(
        lfilter([2 * (1 - radius)], [1, -2 * radius * np.cos(turn), radius**2], sound), np.float64
    )


def _faded(size: int, up: int, down: int) -> Float64s:
    """Return gains that rise in so many samples and fall in so many."""
    at = np.arange(size)
    return np.minimum(1.0, np.minimum(at / up, (size - at) / down))


_SOUNDS: Final[dict[str, Sound]] = {
    "sparse": _sparse,
    "dense": _dense,
    "tones": _tones,
    "quiet": _quiet,
    "square": _square,
    "loop": _loop,
}
_BAND: Final = (_bass, _voice, _guitar, _drums, _pad, _piano, _pulse, _offset)
CHARACTERS: Final = (*_SOUNDS, "band")
