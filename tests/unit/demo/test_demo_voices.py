"""The demo's instruments, measured: the pitch asked for, quiet ends, the same notes from the same seed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.demo.music import voices
from assembler.demo.music.piece import INSTRUMENTS, PIECE_SAMPLES, hear_room, play_part

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Float64s

_SAMPLES = 48_000


def _pluck(hertz: float, samples: int) -> Float64s:
    return voices.pluck_string(hertz, samples, np.random.default_rng(3))


_PITCHED = [voices.play_bass, voices.play_organ, voices.play_reed, voices.play_pad, _pluck]


@pytest.mark.parametrize(
    ("note", "hertz"),
    [(69, 440.0), (60, 261.6256), (38, 73.4162)],
    ids=["a1", "middle-c", "low-d"],
)
def test_note_numbers_give_equal_tempered_pitch(note: int, hertz: float) -> None:
    """A note number gives its frequency: ISO 16 for 440 Hz, the others from memory to four decimals."""
    assert voices.note_hertz(note) == pytest.approx(hertz, abs=1e-4)


@pytest.mark.parametrize("voice", _PITCHED)
def test_a_voice_repeats_at_the_period_of_its_note(voice: Callable[[float, int], Float64s]) -> None:
    """A note is most like itself one period later, at a multiple of the period asked for."""
    note = voice(240.0, _SAMPLES)[12_000:24_000]
    likeness = [float(np.dot(note[:-1000], note[lag : lag - 1000])) for lag in range(150, 850)]
    # 240 Hz is 200 samples; a chorus of strings out of tune may favour two periods or three.
    assert (150 + int(np.argmax(likeness))) % 200 in {0, 1, 199}


def test_a_bell_sounds_loudest_at_its_note() -> None:
    """A bell has partials out of harmony; the strongest in its spectrum is the note asked for."""
    spectrum = np.abs(np.fft.rfft(voices.strike_bell(240.0, _SAMPLES)))
    assert abs(int(np.argmax(spectrum)) - 240) <= 1  # one second of sound: bins of 1 Hz


@pytest.mark.parametrize("voice", [*_PITCHED, voices.strike_bell])
def test_a_note_begins_and_ends_near_zero(voice: Callable[[float, int], Float64s]) -> None:
    """A note can be added to others without a step at its ends, and stays in range."""
    note = voice(240.0, _SAMPLES)
    assert note.shape == (_SAMPLES,)
    assert abs(note[0]) < 0.01
    assert abs(note[-1]) < 0.01
    assert 0.2 < np.max(np.abs(note)) < 1.5


@pytest.mark.parametrize("instrument", INSTRUMENTS)
def test_a_part_fills_the_tape_and_comes_from_its_seed(instrument: str) -> None:
    """The same seed plays the same part, over the whole length of the tape, with a rest before it."""
    part = play_part(instrument, np.random.default_rng(11))
    assert part.shape == (PIECE_SAMPLES,)
    assert not part[: 2 * 30_000].any()
    assert np.array_equal(part, play_part(instrument, np.random.default_rng(11)))


@pytest.mark.parametrize("instrument", ["Snare", "Hat", "Guitar", "Harp"])
def test_another_seed_plays_another_part(instrument: str) -> None:
    """Strings and drums that live from chance differ from seed to seed."""
    first = play_part(instrument, np.random.default_rng(11))
    assert not np.array_equal(first, play_part(instrument, np.random.default_rng(12)))


def test_the_room_hears_an_impulse_late_and_several_times() -> None:
    """An impulse reaches the far microphone five times, first and loudest after 9.1 ms."""
    impulse = np.zeros(10_000)
    impulse[100] = 1.0
    heard = np.flatnonzero(hear_room([impulse]))
    assert heard.size == 5
    assert heard[0] == 100 + 437  # 9.1 ms at 48 kHz
