"""Which word length a tape has: of what its passes use, and of what the sheet says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.sound.scale import bits_used, tape_word
from tests.support.sessions import make_tape

if TYPE_CHECKING:
    from assembler.arrays import Int32s


@dataclass(frozen=True)
class Held:
    """A pass in memory, shape (samples, tracks)."""

    sound: Int32s

    @property
    def tracks(self) -> int:
        """Number of tracks."""
        return int(self.sound.shape[1])

    @property
    def length(self) -> int:
        """Samples."""
        return int(self.sound.shape[0])

    def read(self, track: int, start: int, count: int) -> Int32s:
        """Return samples of a track."""
        return self.sound[start : start + count, track]


def used(sound: Int32s) -> int | None:
    """Return the bits that a pass of two tracks uses of 24."""
    return bits_used(Held(sound), (0, 1), 24)


def sound_of(bits: int) -> Int32s:
    """Return three seconds of a tape, as they stand in files of 24 bits."""
    return np.left_shift(make_tape(3, 2, bits=bits), 24 - bits)


@pytest.mark.parametrize("bits", [16, 20, 24])
def test_a_word_length_is_measured(bits: int) -> None:
    """Of captures that change no number."""
    assert used(sound_of(bits)) == bits


def test_a_burst_and_a_computed_fade_make_no_longer_word() -> None:
    """A few places with low bits in a pass of 16 bits: a burst, and a fade of a tenth of a second at either end."""
    sound = sound_of(16)
    sound[50_000:54_000] += 77
    ramp = np.linspace(0, 1, 4800)[:, None]
    sound[:4800] = np.rint(sound[:4800] * ramp)
    sound[-4800:] = np.rint(sound[-4800:] * ramp[::-1])
    assert used(sound) == 16


def test_one_track_of_more_bits_is_not_overlooked() -> None:
    """A tape of 24 bits may hold tracks that were recorded from 16."""
    sound = sound_of(16)
    sound[:, 1] = sound_of(24)[:, 1]
    assert used(sound) == 24


def test_silence_a_short_sound_and_few_levels_tell_nothing() -> None:
    """Nor does a burst on a silent tape."""
    silent = np.zeros((144_000, 2), np.int32)
    assert used(silent) is None
    square = silent + np.where(np.arange(144_000) // 100 % 2, 4096, -4096).astype(np.int32)[:, None]
    assert used(square) is None
    burst = silent.copy()
    burst[70_000:71_000] = np.random.default_rng(1).integers(-(1 << 20), 1 << 20, (1000, 2))
    assert used(burst) is None
    assert used(sound_of(16)[:500]) is None


@pytest.mark.parametrize(
    ("passes", "said", "compared", "depth"),
    [
        ([16, 16], 24, 16, 16),
        ([20], 24, 20, 20),
        ([24, 24], 24, 24, 24),
        ([24, 24], 16, 24, 16),  # finer than the sheet says
        ([16, 24], 24, 16, 16),  # of equally many the more trusted
        ([24, 16], 24, 24, 24),
        ([24, 16], 16, 16, 16),  # a pass keeps to what the sheet says
        ([24, 16, 16], 24, 16, 16),  # most of them
        ([None, 16], 24, 16, 16),
        ([None, None], 24, 24, 24),
        ([12, 13], 16, 16, 16),  # a tape's machine computes in its own word length
        ([12], 24, 16, 16),
    ],
)
def test_passes_and_sheet_tell_the_tapes_word(
    passes: list[int | None], said: int, compared: int, depth: int
) -> None:
    """What most passes keep to, but never less than a tape's shortest words."""
    word = tape_word(passes, said, 24)
    assert (word.compared_bits, word.bit_depth) == (compared, depth)
    assert word.is_as_said == (compared == said)


def test_files_of_16_bits_say_nothing_of_a_tape_of_24() -> None:
    """They have lost its low bits, which is told elsewhere; their own step is what they are compared by."""
    word = tape_word([None], 24, 16)
    assert (word.compared_bits, word.bit_depth, word.is_as_said) == (16, 24, True)
