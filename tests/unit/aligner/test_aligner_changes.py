"""What a chain did to the numbers, measured on sound that was changed by a known amount."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.sound.chain.change import Change, find_change
from assembler.aligner.sound.chain.measures import find_delay
from assembler.aligner.sound.limits import PIECE_SAMPLES
from tests.support.sessions import make_tape

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Float64s, Int32s

PIECES = 6
TAPE = make_tape(PIECES * PIECE_SAMPLES / 48000, 1, seed=4)[:, 0]
SOUND = TAPE.astype(np.float64)


def measured(changed: Int32s, step: int = 1) -> Change:
    """Return what is found of the changed tape."""
    cuts = [slice(n * PIECE_SAMPLES, (n + 1) * PIECE_SAMPLES) for n in range(PIECES)]
    change = find_change([(TAPE[cut] * step, changed[cut] * step) for cut in cuts], step)
    assert change is not None
    return change


def rounded(values: Float64s) -> Int32s:
    """Return whole samples."""
    return np.rint(values).astype(np.int32)


@pytest.mark.parametrize("decibels", [-20.0, -6.02, -0.3, -0.02, 0.1])
def test_a_level_is_measured(decibels: float) -> None:
    """To a hundredth of a decibel, and as nothing but a level."""
    change = measured(rounded(SOUND * 10 ** (decibels / 20)))
    assert abs(change.level_db - decibels) < 0.006
    assert change.is_level_only
    assert f"{decibels:+.2f} dB" in change.words("A1", "A2", 16)


@pytest.mark.parametrize("fraction", [-0.4, 0.05, 0.3])
def test_a_place_between_samples_is_measured(fraction: float) -> None:
    """The phase of every partial is turned by the fraction: to a hundredth of a sample."""
    spectrum = np.fft.rfft(TAPE)
    turn = np.exp(-1j * np.linspace(0, np.pi, spectrum.size) * fraction)
    change = measured(rounded(np.fft.irfft(spectrum * turn, TAPE.size)))
    assert abs(change.fraction - fraction) < 0.01
    assert change.level_db == 0
    assert f"{fraction:+.2f} sample" in change.words("A1", "A2", 16)


@pytest.mark.parametrize("step", [1, 16])
def test_a_shorter_word_length_is_counted(step: int) -> None:
    """Cut to fewer bits, or dithered to them, in the one pass or the other; a 20-bit tape stands in 24 bits."""
    bits = 16 if step == 1 else 20
    container = bits + step.bit_length() - 1
    cut = measured(TAPE & ~15, step)
    assert f"A2 is cut to {bits - 4} bits: its lowest 4 bits" in cut.words("A1", "A2", container)
    assert "noise" not in cut.words("A1", "A2", container)
    random = np.random.default_rng(1)
    # Triangular dither of two steps, peak to peak: common practice, no source.
    dither = random.uniform(-8, 8, TAPE.size) + random.uniform(-8, 8, TAPE.size)
    dithered = measured(rounded((TAPE + dither) / 16) * 16, step)
    assert f"A2 is dithered to {bits - 4} bits" in dithered.words("A1", "A2", container)
    pieces = [((TAPE & ~15)[:PIECE_SAMPLES] * step, TAPE[:PIECE_SAMPLES] * step)]
    first = find_change(pieces, step)
    assert first is not None
    assert f"A1 is cut to {bits - 4} bits" in first.words("A1", "A2", container)


CHANGES: dict[str, tuple[Callable[[Float64s], Float64s], str]] = {
    "noise": (lambda tape: tape + np.random.default_rng(2).normal(0, 3, tape.size), "noise of 3.0 LSB rms"),
    "offset": (lambda tape: tape + 12.0, "a constant of +12.0 LSB"),
    "inverted": (lambda tape: -0.5 * tape, "its polarity is inverted and its level is -6.02 dB"),
}


@pytest.mark.parametrize("name", CHANGES)
def test_other_changes_are_named(name: str) -> None:
    """Noise by its level, an offset by its size, opposite polarity with what else was done; no level of its own."""
    make, words = CHANGES[name]
    change = measured(rounded(make(SOUND)))
    assert words in change.words("A1", "A2", 16)
    assert not change.is_level_only


@pytest.mark.parametrize("decibels", [-0.5, -6.02])
def test_a_pulse_wave_at_another_level_has_no_word_length(decibels: float) -> None:
    """It holds two levels, and what their low bits are is the gain's doing."""
    wave = np.where(np.arange(PIECE_SAMPLES) % 218 < 54, 4096.0, -4096.0)
    softer = np.asarray(wave * 10 ** (decibels / 20), np.float64)
    change = find_change([(rounded(softer), rounded(wave))], 1)
    assert change is not None
    assert change.is_level_only
    assert f"{-decibels:+.2f} dB" in change.words("A1", "A2", 16)
    assert "bits" not in change.words("A1", "A2", 16)


def test_a_flaw_in_a_piece_does_not_change_what_is_measured() -> None:
    """A burst in one piece and a mute in another are no matter of the chain."""
    changed = rounded(SOUND * 10 ** (-0.3 / 20))
    changed[2000:6000] = np.random.default_rng(3).integers(-20000, 20000, 4000)
    changed[PIECE_SAMPLES + 2000 : PIECE_SAMPLES + 9000] = 0
    assert abs(measured(changed).level_db + 0.3) < 0.006


def test_other_sound_is_not_alike() -> None:
    """Two tunes share no correlation, and silence has no change at all."""
    assert not measured(make_tape(TAPE.size / 48000, 1, seed=9)[:, 0]).is_alike
    assert find_change([(TAPE, np.zeros_like(TAPE))], 1) is None


def test_a_delay_is_found_in_either_polarity() -> None:
    """A piece of the tape is found where it was taken from."""
    for sign in (1, -1):
        where, alike = find_delay(TAPE[:40_000], sign * TAPE[12_345 : 12_345 + PIECE_SAMPLES])
        assert where == 12_345
        assert alike * sign > 0.999
