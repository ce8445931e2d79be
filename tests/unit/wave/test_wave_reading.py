"""Captures on disk: samples from anywhere, faults told, errors with the path."""

from __future__ import annotations

import hashlib
import io
import os
import struct
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.errors import WaveError
from assembler.wave import (
    BroadcastExtension,
    PcmFormat,
    WaveFile,
    encode_bext,
    encode_info,
    encode_markers,
    pack_samples,
    read_info,
    wave_header,
    wave_trailer,
)
from assembler.wave.metadata.markers import Marker

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

STEREO_24 = PcmFormat(2, 48000, 24, 24)
FMT_16 = b"fmt \x10\0\0\0" + struct.pack("<HHIIHH", 1, 1, 48000, 96000, 2, 16)


def ramp(frames: int, channels: int) -> Int32s:
    """Return frames whose samples all differ and reach both signs."""
    return (np.arange(frames * channels, dtype=np.int32).reshape(frames, channels) - frames) * 397


def write(path: Path, samples: Int32s, chunks: list[tuple[str, bytes]] | None = None) -> Path:
    """Write a 24-bit file."""
    pcm = PcmFormat(samples.shape[1], 48000, 24, 24)
    header, trailer = wave_header(pcm, len(samples), chunks or []), wave_trailer(pcm, len(samples))
    path.write_bytes(header + pack_samples(samples, 24) + trailer)
    return path


def riff(body: bytes) -> io.BytesIO:
    """Return a RIFF/WAVE stream with ``body`` after the form type."""
    return io.BytesIO(b"RIFF" + struct.pack("<I", len(body) + 4) + b"WAVE" + body)


def test_any_range_of_frames_is_read(tmp_path: Path) -> None:
    """Frames come out as they are in the file, from the first to the last, and none from an empty range."""
    samples = ramp(1001, 2)
    with WaveFile(write(tmp_path / "a.wav", samples)) as file:
        assert file.info.format == STEREO_24
        assert file.info.frames == 1001
        assert file.info.faults == ()
        for start, count in ((0, 1001), (0, 1), (1000, 1), (17, 400), (1001, 0)):
            block = file.read(start, count)
            assert block.shape == (count, 2)
            assert np.array_equal(block, samples[start : start + count])


@pytest.mark.parametrize(("start", "count"), [(-1, 1), (0, 11), (10, 1), (5, -1)])
def test_a_range_outside_the_file_is_a_mistake(tmp_path: Path, start: int, count: int) -> None:
    """Asking for what is not there is the caller's error."""
    with WaveFile(write(tmp_path / "a.wav", ramp(10, 1))) as file, pytest.raises(ValueError, match="10"):
        file.read(start, count)


def test_threads_read_without_disturbing_each_other(tmp_path: Path) -> None:
    """Blocks read by several threads at once are the blocks of the file."""
    samples = ramp(20_000, 1)
    with WaveFile(write(tmp_path / "a.wav", samples)) as file, ThreadPoolExecutor(8) as pool:
        blocks = list(pool.map(lambda start: file.read(start, 100), range(0, 20_000, 100)))
    assert np.array_equal(np.concatenate(blocks), samples)


def test_a_capture_cannot_be_written_through_and_stays_the_same(tmp_path: Path) -> None:
    """The file is open for reading only, a read-only file opens, and reading leaves its bytes alone."""
    path = write(tmp_path / "a.wav", ramp(100, 2))
    path.chmod(0o400)
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    with WaveFile(path) as file:
        with pytest.raises(OSError, match="Bad file descriptor"):
            os.pwrite(file.source.descriptor, b"x", 0)
        file.read(0, 100)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before


def test_metadata_is_read_by_name_and_list_type(tmp_path: Path) -> None:
    """The first chunk of a name comes back, or the first LIST of a type; None where there is none."""
    info = encode_info({"INAM": "title"})
    bext = encode_bext(BroadcastExtension(description="reel A", time_reference=99))
    chunks = [("LIST", info), *encode_markers([Marker(3, 0, "here")]), ("bext", bext)]
    with WaveFile(write(tmp_path / "a.wav", ramp(9, 1), chunks)) as file:
        assert file.info.bext is not None
        assert file.info.bext.time_reference == 99
        assert file.read_chunk("LIST") == info
        adtl = file.read_chunk("LIST", "adtl")
        assert adtl is not None
        assert adtl.startswith(b"adtl")
        assert file.read_chunk("LIST", "exif") is None
        assert file.read_chunk("iXML") is None


def test_a_huge_chunk_is_not_taken_into_memory(tmp_path: Path) -> None:
    """Metadata past the limit raises, and a bext of that size is only told."""
    size = (16 << 20) + 2
    path = tmp_path / "a.wav"
    with path.open("wb") as stream:  # sparse: the bytes are never written
        stream.write(b"RIFF" + struct.pack("<I", size + 64) + b"WAVE" + FMT_16)
        stream.write(b"bext" + struct.pack("<I", size))
        stream.seek(size, os.SEEK_CUR)
        stream.write(b"data\x02\0\0\0\0\0")
    with WaveFile(path) as file:
        assert file.info.bext is None
        assert any("bext chunk has 16777218 bytes" in fault for fault in file.info.faults)
        with pytest.raises(WaveError, match=r"a\.wav: the bext chunk"):
            file.read_chunk("bext")


def test_a_cut_off_capture_gives_its_whole_frames(tmp_path: Path) -> None:
    """Truncated inside a frame: the frames that are there are read, and the cut is told."""
    samples = ramp(100, 2)
    path = write(tmp_path / "a.wav", samples)
    whole = path.read_bytes()
    path.write_bytes(whole[:-10])
    with WaveFile(path) as file:
        assert file.info.frames == 98
        assert np.array_equal(file.read(0, 98), samples[:98])
        assert file.info.faults == (
            f"the RIFF size says the file has {len(whole)} bytes, it has {len(whole) - 10}",
            "the data chunk says 600 bytes, the file ends after 590",
            "the data chunk ends inside a frame: 2 of 6 bytes left over",
        )


def test_a_file_that_shrinks_while_open_is_told(tmp_path: Path) -> None:
    """Samples that have gone since the file was opened raise with path and place."""
    path = write(tmp_path / "a.wav", ramp(100, 1))
    with WaveFile(path) as file:
        os.truncate(path, 200)
        with pytest.raises(WaveError, match=r"a\.wav: byte 200: the file has become shorter"):
            file.read(0, 100)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "no data chunk"),
        (FMT_16, "no data chunk"),
        (b"data\x02\0\0\0ab", "no fmt chunk"),
        (b"data\x02\0\0\0ab" + FMT_16, "stands after the data chunk"),
        (b"fmt \x02\0\0\0\x01\0data\0\0\0\0", "fmt chunk has 2 bytes"),
    ],
)
def test_files_without_usable_samples_are_refused(body: bytes, words: str) -> None:
    """A WAV file that lacks what samples need raises."""
    with pytest.raises(WaveError, match=words):
        read_info(riff(body))


def test_harmless_faults_are_told() -> None:
    """A wrong byte rate, doubled chunks and a short bext are told, and the samples are read."""
    wrong_rate = b"fmt \x10\0\0\0" + struct.pack("<HHIIHH", 1, 1, 48000, 5, 2, 16)
    info = read_info(riff(wrong_rate + b"bext\x02\0\0\0ab" + b"data\x02\0\0\0ab" + b"data\x04\0\0\0abcd"))
    assert info.frames == 1
    assert info.bext is None
    assert info.faults == (
        "the fmt chunk says 5 bytes a second, 96000 is right",
        "2 data chunks; the first one is used",
        "the bext chunk has 2 bytes, at least 602 are needed; it was not read",
    )


def test_files_that_cannot_be_opened_are_named(tmp_path: Path) -> None:
    """A missing file, a folder, a pipe and a path with a NUL raise with the path, at once."""
    os.mkfifo(tmp_path / "pipe.wav")
    for name, words in (
        ("missing.wav", "cannot be opened: No such file"),
        (".", "a folder, not a regular file"),
        ("pipe.wav", "a named pipe, not a regular file"),
        ("nul\0.wav", "cannot be opened"),
    ):
        with pytest.raises(WaveError, match=words) as caught:
            WaveFile(tmp_path / name)
        assert caught.value.path == tmp_path / name


def test_errors_inside_a_file_carry_its_path(tmp_path: Path) -> None:
    """What is wrong with the content is said after the file's name."""
    path = tmp_path / "not.wav"
    path.write_bytes(b"OggS" + bytes(40))
    with pytest.raises(WaveError, match=r"not\.wav: not a WAV file"):
        WaveFile(path)


def test_closing_twice_does_no_harm(tmp_path: Path) -> None:
    """A closed file can be closed again, and its descriptor is not closed a second time."""
    file = WaveFile(write(tmp_path / "a.wav", ramp(1, 1)))
    file.close()
    file.close()
    with pytest.raises(ValueError, match="read after its session was closed"):
        file.read(0, 1)
