"""Invented sound for the tapes, and the converter that put it there.

A converter of that time hands on its own noise with every sample: even rests are never still. A synthesizer
wired by its digital output is still.

Source: J. Watkinson, The Art of Digital Audio (dither of triangular shape, two steps wide). All else is
invented.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import signal

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Sound = NDArray[np.float64]
    Maker = Callable[[np.random.Generator, int, int], Sound]

NOTES = 55.0 * 2.0 ** (np.arange(48) / 12)


def plucked(random: np.random.Generator, length: int, rate: int) -> Sound:
    """Strings: bursts of noise that run round a damped loop."""
    out = np.zeros(length)
    for at in _onsets(random, length, rate, 2.5):
        period = int(rate / random.choice(NOTES))
        count = min(length - at, int(rate * random.uniform(0.5, 2.5)))
        burst = np.zeros(count)
        burst[: min(count, period)] = random.uniform(-1, 1, min(count, period))
        for start in range(period + 1, count, period):
            end = min(count, start + period)
            loop = burst[start - period - 1 : end - period]
            burst[start:end] += 0.498 * (loop[1:] + loop[:-1])
        out[at : at + count] += random.uniform(0.2, 1) * burst
    return out


def bowed(random: np.random.Generator, length: int, rate: int) -> Sound:
    """Long notes with vibrato and breathing loudness."""
    out = np.zeros(length)
    at = 0
    while at < length:
        count = min(length - at, int(rate * random.uniform(0.6, 3)))
        time = np.arange(count) / rate
        pitch = random.choice(NOTES[12:40]) * (1 + 0.006 * np.sin(2 * np.pi * random.uniform(4, 6.5) * time))
        phase = 2 * np.pi * np.cumsum(pitch) / rate
        tone = sum(np.sin(order * phase + order) / order**1.3 for order in range(1, 9))
        out[at : at + count] = tone * np.abs(np.sin(np.pi * time / time[-1])) ** 0.5 if count > 1 else 0
        at += count + int(rate * random.choice([0, 0, 0.3]))
    return out


def drums(random: np.random.Generator, length: int, rate: int) -> Sound:
    """Strokes: a falling tone and a burst of noise each."""
    out = np.zeros(length)
    for at in _onsets(random, length, rate, 5):
        count = min(length - at, int(rate * random.uniform(0.08, 0.6)))
        time = np.arange(count) / rate
        fall = np.exp(-time * random.uniform(8, 60))
        tone = np.sin(2 * np.pi * random.uniform(50, 220) * (time + 0.02 * np.exp(-40 * time)))
        out[at : at + count] += fall * (tone + random.uniform(0, 1.5) * random.standard_normal(count))
    return out


def hiss(random: np.random.Generator, length: int, rate: int) -> Sound:
    """Coloured noise of slowly changing loudness."""
    colour = signal.butter(2, min(0.9, random.uniform(500, 9000) / rate * 2))
    swell = 0.6 + 0.4 * np.sin(2 * np.pi * random.uniform(0.05, 0.5) * np.arange(length) / rate)
    return np.asarray(swell * signal.lfilter(*colour, random.standard_normal(length)))


def dense(random: np.random.Generator, length: int, rate: int) -> Sound:
    """Everything at once, driven into the curve of an amplifier."""
    parts = bowed(random, length, rate) + plucked(random, length, rate) + drums(random, length, rate)
    return np.tanh(random.uniform(0.6, 3) * parts)


def rests(random: np.random.Generator, length: int, rate: int) -> Sound:
    """A soft pad that rests for longer than it sounds."""
    out = bowed(random, length, rate)
    gate = np.zeros(length)
    for at in _onsets(random, length, rate, 0.25):
        gate[at : at + int(rate * random.uniform(0.5, 2))] = 1
    return np.asarray(out * signal.filtfilt(*signal.butter(1, 20 / rate), gate))


def low(random: np.random.Generator, length: int, rate: int) -> Sound:
    """A bass: a few smooth partials, so that neighbours differ by little."""
    out = np.zeros(length)
    for at in _onsets(random, length, rate, 2):
        count = min(length - at, int(rate * random.uniform(0.2, 1.2)))
        time = np.arange(count) / rate
        pitch = random.choice(NOTES[:14]) / 1.5
        tone = np.sin(2 * np.pi * pitch * time) + 0.3 * np.sin(4 * np.pi * pitch * time + 1)
        out[at : at + count] += tone * np.exp(-1.5 * time) * np.minimum(1, 300 * time)
    return out


def voice(random: np.random.Generator, length: int, rate: int) -> Sound:
    """Pulses of a throat through three resonances, syllables and breath between."""
    out = 0.01 * random.standard_normal(length)
    for at in _onsets(random, length, rate, 3):
        count = min(length - at, int(rate * random.uniform(0.1, 0.6)))
        time = np.arange(count) / rate
        phase = np.cumsum(random.choice(NOTES[14:34]) * (1 + 0.03 * np.sin(2 * np.pi * 5 * time))) / rate
        pulses = np.diff(np.floor(phase), prepend=0) - 0.003
        for centre in (random.uniform(300, 800), random.uniform(900, 2200), random.uniform(2300, 3200)):
            pulses = pulses + 3 * signal.lfilter(*signal.iirpeak(centre, 6, rate), pulses)
        out[at : at + count] += pulses * np.sin(np.pi * np.linspace(0, 1, count))
    return out


def square(random: np.random.Generator, length: int, rate: int) -> Sound:
    """A synthesizer's square or pulse wave in notes, zero between them."""
    out = np.zeros(length)
    for at in _onsets(random, length, rate, 2):
        count = min(length - at, int(rate * random.uniform(0.1, 0.6)))
        phase = random.choice(NOTES[:36]) * np.arange(count) / rate
        out[at : at + count] = np.where(phase % 1 < random.choice([0.5, 0.25, 0.125]), 0.7, -0.7)
    return out


def pulses(random: np.random.Generator, length: int, rate: int) -> Sound:
    """Single clicks of a sequencer, a click track."""
    out = np.zeros(length)
    step = int(rate * random.uniform(0.2, 0.6))
    for at in range(int(random.integers(step)), length - 200, step):
        out[at : at + 200] = np.exp(-np.arange(200) / 20) * np.cos(np.arange(200) / 3)
    return out


def saws(random: np.random.Generator, length: int, rate: int) -> Sound:
    """A digital oscillator's saw in notes: the same step up, sample for sample, then the fall."""
    return _notes(random, length, rate, lambda phase: 2 * (phase % 1) - 1)


def triangles(random: np.random.Generator, length: int, rate: int) -> Sound:
    """The same as a triangle."""
    return _notes(random, length, rate, lambda phase: 4 * np.abs(phase % 1 - 0.5) - 1)


def widths(random: np.random.Generator, length: int, rate: int) -> Sound:
    """The same as a pulse wave whose two levels are not opposite."""
    width, low = random.uniform(0.1, 0.5), random.choice([-1.0, -0.4, 0.0])
    return _notes(random, length, rate, lambda phase: np.where(phase % 1 < width, 0.7, low))


def looped(random: np.random.Generator, length: int, rate: int) -> Sound:
    """A sampler's loop: one bar of drums and bass again and again, the same numbers each time."""
    bar = int(rate * random.uniform(0.4, 2.2))
    once = drums(random, bar, rate) + low(random, bar, rate)
    return np.asarray(np.tile(once, length // bar + 1)[:length])


def _notes(random: np.random.Generator, length: int, rate: int, shape: Callable[[Sound], Sound]) -> Sound:
    out = np.zeros(length)
    for at in _onsets(random, length, rate, 2):
        count = min(length - at, int(rate * random.uniform(0.1, 1.5)))
        # A synthesizer of that time counts in whole samples, or does not.
        period = rate / random.choice(NOTES[:36])
        period = round(period) if random.random() < 0.5 else period
        out[at : at + count] = shape(np.arange(count) / period)
    return out


CHARACTERS: dict[str, Maker] = {
    one.__name__: one for one in (plucked, bowed, drums, hiss, dense, rests, low, voice, square, pulses)
}
STILL = ("square", "pulses", "saws", "triangles", "widths", "looped")
"""What may come by a digital output, without a converter's noise."""
WIRED: dict[str, Maker] = {
    one.__name__: one for one in (saws, triangles, widths, looped, square, pulses, drums, bowed)
}
"""Tracks of a session of machines: what repeats to the sample, and some that does not."""


def converted(
    sound: Sound, bits: int, random: np.random.Generator, peak: float, noise: float
) -> NDArray[np.int32]:
    """Return sound as a converter gives it.

    Args:
        sound: any scale.
        bits: word length.
        random: for noise and dither.
        peak: loudest sample as a share of full scale; above 1 it clips.
        noise: the converter's own noise in its steps (standard deviation); negative for a digital source, which has
            neither noise nor dither.
    """
    full = 1 << bits - 1
    scaled = sound / max(1e-9, float(np.max(np.abs(sound)))) * peak * full
    if noise >= 0:
        triangle = random.random(len(sound)) + random.random(len(sound)) - 1
        scaled = scaled + noise * random.standard_normal(len(sound)) + triangle
    return np.clip(np.rint(scaled), -full, full - 1).astype(np.int32)


def _onsets(random: np.random.Generator, length: int, rate: int, per_second: float) -> list[int]:
    times = np.cumsum(random.exponential(rate / per_second, int(3 + 2 * per_second * length / rate)))
    return [int(at) for at in times if at < length - 64]
