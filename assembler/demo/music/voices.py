"""Instrument-like voices: one note in, one array of samples out.

Every voice is a pure function. It gives ``float64`` samples of shape ``(samples,)`` at ``SAMPLE_RATE``, about
-1 to 1, which begin and end near zero so that notes can be added together. Voices that need chance (a
string's first displacement, a drum's noise) take the generator, so that one seed makes one piece.

Source of the plucked string: K. Karplus and A. Strong, "Digital Synthesis of Plucked-String and Drum
Timbres", Computer Music Journal 7(2), 1983.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s

SAMPLE_RATE: Final = 48_000

# Frequency and strength of a bell's partials against the note it is heard as: a hum below, a minor third
# above (common practice of bell founders, no source).
_BELL_PARTIALS: Final = ((0.5, 0.5), (1.0, 1.0), (1.2, 0.6), (1.5, 0.4), (2.0, 0.8), (2.7, 0.3), (4.1, 0.2))


def note_hertz(note: int) -> float:
    """Return the frequency of a MIDI note number in equal temperament, 69 being 440 Hz."""
    return float(440.0 * 2.0 ** ((note - 69) / 12))


def pluck_string(hertz: float, samples: int, generator: np.random.Generator) -> Float64s:
    """Return a plucked string: one period of noise that is smoothed a little at each turn."""
    period = round(SAMPLE_RATE / hertz)
    turns = np.empty((samples // period + 1, period))
    string = generator.uniform(-1.0, 1.0, period)
    neighbour = np.arange(-1, period - 1)
    for turn in turns:
        turn[:] = string
        string = 0.498 * (string + string[neighbour])
    return turns.reshape(-1)[:samples] * _shape(samples, rise_ms=1, fall_ms=30)


def play_bass(hertz: float, samples: int) -> Float64s:
    """Return a round bass note: a few harmonics, of which the higher die away sooner."""
    strengths = (1.0, 1 / 2, 1 / 3, 1 / 4, 1 / 5, 1 / 6)
    return 0.6 * _add_harmonics(hertz, samples, strengths, decay=1.2) * _shape(samples, rise_ms=4, fall_ms=40)


def play_organ(hertz: float, samples: int) -> Float64s:
    """Return an organ note: steady pipes at the octaves and the twelfth."""
    pipes = (1.0, 0.6, 0.3, 0.25, 0.0, 0.0, 0.0, 0.08)
    return 0.4 * _add_harmonics(hertz, samples, pipes) * _shape(samples, rise_ms=25, fall_ms=60)


def play_reed(hertz: float, samples: int) -> Float64s:
    """Return a reed note: odd harmonics with a slow vibrato that sets in after the note has begun."""
    seconds = _seconds(samples)
    depth = 0.004 * np.clip(4 * seconds - 0.5, 0.0, 1.0)
    phase = 2 * np.pi * hertz * (seconds + depth * np.sin(2 * np.pi * 5.2 * seconds) / (2 * np.pi * 5.2))
    return 0.8 * np.tanh(2.2 * np.sin(phase) + 0.5 * np.sin(3 * phase)) * _shape(samples, 35, 70)


def play_pad(hertz: float, samples: int) -> Float64s:
    """Return a slow chord voice: three strings, a little out of tune with each other."""
    strengths = tuple(1.0 / harmonic**1.5 for harmonic in range(1, 9))
    note = np.zeros(samples)
    for detune in (0.9965, 1.0, 1.004):
        note += _add_harmonics(hertz * detune, samples, strengths)
    return 0.2 * note * _shape(samples, rise_ms=350, fall_ms=500)


def strike_bell(hertz: float, samples: int) -> Float64s:
    """Return a struck bell: partials out of harmony, the higher ones gone first."""
    seconds = _seconds(samples)
    note = np.zeros(samples)
    for ratio, strength in _BELL_PARTIALS:
        note += strength * np.sin(2 * np.pi * hertz * ratio * seconds) * np.exp(-1.6 * ratio * seconds)
    return 0.35 * note * _shape(samples, rise_ms=1, fall_ms=60)


def beat_kick(samples: int) -> Float64s:
    """Return a bass drum: a tone that falls from 160 Hz to 48 Hz while it dies away."""
    seconds = _seconds(samples)
    phase = 2 * np.pi * (48 * seconds + (160 - 48) / 28 * (1 - np.exp(-28 * seconds)))
    return np.sin(phase) * np.exp(-9 * seconds) * _shape(samples, rise_ms=1, fall_ms=20)


def beat_snare(samples: int, generator: np.random.Generator) -> Float64s:
    """Return a snare drum: a short skin tone under bright noise."""
    seconds = _seconds(samples)
    skin = np.sin(2 * np.pi * 185 * seconds) * np.exp(-22 * seconds)
    wires = generator.uniform(-1.0, 1.0, samples) * np.exp(-15 * seconds)
    return (0.6 * skin + 0.55 * wires) * _shape(samples, rise_ms=1, fall_ms=20)


def beat_hat(samples: int, generator: np.random.Generator) -> Float64s:
    """Return a closed cymbal: noise with its low end taken away, very short."""
    noise = generator.uniform(-1.0, 1.0, samples + 2)
    return 0.35 * np.diff(noise, n=2) * np.exp(-45 * _seconds(samples)) * _shape(samples, 1, 10)


def _seconds(samples: int) -> Float64s:
    return np.arange(samples) / SAMPLE_RATE


def _add_harmonics(
    hertz: float, samples: int, strengths: tuple[float, ...], *, decay: float = 0.0
) -> Float64s:
    """Sum sines at 1, 2, 3 ... times the frequency, of the strengths given.

    They die away at 1, 2, 3 ... times the decay, per second. A harmonic is a power of the first, so one
    exponential and a polynomial replace a sine for each.
    """
    first = np.exp((2j * np.pi * hertz - decay) * _seconds(samples))
    total = np.zeros(samples, np.complex128)
    for strength in reversed(strengths):
        total += strength
        total *= first
    return total.imag


def _shape(samples: int, rise_ms: float, fall_ms: float) -> Float64s:
    """Return gains that rise from 0 to 1 at the start and fall back to 0 at the end."""
    place = np.arange(samples)
    rise = place / (rise_ms * SAMPLE_RATE / 1000)
    fall = (samples - place) / (fall_ms * SAMPLE_RATE / 1000)
    gains: Float64s = np.minimum(1.0, np.minimum(rise, fall))
    return gains
