"""A track read back: digests of file and samples, and where libsndfile finds something else."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile

from assembler.consolidator.tracks.returned import WrittenShape, read_track
from assembler.publishing.staged import StagedFiles
from assembler.wave import PcmFormat

if TYPE_CHECKING:
    from pathlib import Path

NAME, RATE = "01.wav", 48000


def written(folder: Path, bits: int, frames: int) -> tuple[StagedFiles, WrittenShape, bytes]:
    """Return a track that libsndfile has written, its shape, and all its bytes."""
    samples = np.random.default_rng(bits).integers(-(1 << 31), 1 << 31, frames, np.int32)
    soundfile.write(str(folder / NAME), samples, RATE, f"PCM_{bits}")
    data = (folder / NAME).read_bytes()
    start = data.index(b"data") + 8
    return (
        StagedFiles(folder, folder / "set"),
        WrittenShape(PcmFormat(1, RATE, bits, bits), frames, start),
        data,
    )


@pytest.mark.parametrize(("bits", "frames"), [(16, 1_200_001), (24, 800_001), (24, 1)])
def test_a_track_read_back_is_what_it_is(tmp_path: Path, bits: int, frames: int) -> None:
    """The digests of a file and of its samples are those that hashlib gives; libsndfile has nothing to say."""
    files, shape, data = written(tmp_path, bits, frames)
    found = read_track(files, NAME, shape, ("sha256", "md5"))
    assert found.digests == {name: hashlib.new(name, data).hexdigest() for name in ("sha256", "md5")}
    assert found.heard is not None
    assert not found.heard.problem
    samples = data[shape.data_start : shape.data_start + frames * bits // 8]
    assert found.heard.digest == hashlib.sha256(samples).hexdigest()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"data_start": 47}, "libsndfile finds other samples from"),
        ({"frames": 399_999}, "it finds 400000 frames of 1 channels"),
        ({"pcm": PcmFormat(1, RATE, 16, 16)}, "libsndfile finds other samples from"),
    ],
)
def test_what_libsndfile_finds_otherwise_is_told(tmp_path: Path, change: dict[str, Any], said: str) -> None:
    """A place, a number or a width of samples that is not the file's own is seen by what libsndfile reads."""
    files, shape, _ = written(tmp_path, 24, 400_000)
    heard = read_track(files, NAME, replace(shape, **change), ("sha256",)).heard
    assert heard is not None
    assert said in heard.problem


def test_a_bit_lost_at_the_end_changes_the_digest(tmp_path: Path) -> None:
    """The last sample counts as the first one does."""
    files, shape, data = written(tmp_path, 24, 100_000)
    before = read_track(files, NAME, shape, ("sha256",))
    (tmp_path / NAME).write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    after = read_track(files, NAME, shape, ("sha256",))
    assert before.heard is not None
    assert after.heard is not None
    assert not after.heard.problem
    assert before.heard.digest != after.heard.digest
