"""Samples as files have them: only where reading does nothing but unpack, and then the same."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from assembler.aligner.noting import note_whole
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import Stretch, TimeMap
from assembler.aligner.sound.glance import Glance
from assembler.importer.audio import PassAudio
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from pathlib import Path

LENGTH = 70_000


def capture(path: Path, seed: int, channels: int = 1) -> WaveFile:
    """Return a file that libsndfile has written."""
    sound = np.random.default_rng(seed).integers(-(1 << 31), 1 << 31, (LENGTH, channels), np.int32)
    soundfile.write(str(path), sound, 48_000, "PCM_24")
    return WaveFile(path)


def test_what_is_packed_unpacks_to_what_is_read(tmp_path: Path) -> None:
    """At both ends of a file and inside it."""
    with PassAudio([capture(tmp_path / "a.wav", 1)], [(0, 0)], 24) as audio:
        for start, count in ((0, 10), (1234, 5000), (LENGTH - 7, 7)):
            packed = audio.packed(0, start, count)
            assert packed is not None
            assert np.array_equal(packed.unpacked(), audio.read(0, start, count))


@pytest.mark.parametrize(
    ("channels", "word_length", "polarity", "start"),
    [(2, 24, 1, 5), (1, 24, -1, 5), (1, 24, 1, -1), (1, 24, 1, LENGTH - 9)],
)
def test_nothing_is_packed_where_more_is_done(
    tmp_path: Path, channels: int, word_length: int, polarity: int, start: int
) -> None:
    """Where channels are parted, a track is inverted, or zeros stand outside of the file."""
    file = capture(tmp_path / "a.wav", 1, channels)
    with PassAudio([file], [(0, 0)], word_length, [polarity]) as audio:
        assert audio.packed(0, start, 10) is None


def test_other_word_lengths_are_not_packed(tmp_path: Path) -> None:
    """A file of 24 bits in a set of 16 is narrowed."""
    with PassAudio([capture(tmp_path / "a.wav", 1)], [(0, 0)], 16) as audio:
        assert audio.packed(0, 0, 10) is None


def test_passes_that_hold_the_same_bytes_share_a_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two of three captures are alike: two looks are taken."""
    looks = []

    def counted(samples: np.ndarray[tuple[int], np.dtype[np.int32]], step: int) -> Glance:
        looks.append(samples.size)
        return Glance(samples, step)

    monkeypatch.setattr("assembler.aligner.noting.Glance", counted)
    placed = []
    for name, seed in (("A1", 1), ("A2", 2), ("A3", 1)):
        audio = PassAudio([capture(tmp_path / f"{name}.wav", seed)], [(0, 0)], 24)
        placed.append(PlacedPass(name, audio, (TimeMap((Stretch(0, LENGTH, 0),)),)))
    note_whole(placed, [[(0, LENGTH)]] * 3, [0], (20_000, 40_000), 1)
    assert len(looks) == 2
