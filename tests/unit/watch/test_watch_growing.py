"""Captures whose headers are not final, and logs whose lengths are not."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.errors import WaveError
from assembler.importer.places.log import read_log
from assembler.inputs import InputFile
from assembler.watch.captures.growing import GrowingWave
from assembler.watch.captures.scanning import Scanner
from assembler.wave.samples import pack_samples
from tests.support.recorder import Recording, head, log_bytes

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("form", ["RIFF", "RF64"])
@pytest.mark.parametrize("header", ["zero", "max", "flush"])
@pytest.mark.parametrize("channels", [1, 8])
def test_all_that_is_written_is_there(tmp_path: Path, form: str, header: str, channels: int) -> None:
    """Whatever the sizes say meanwhile, each look gives all whole frames; the right sizes make a file final."""
    spec = Recording(str(tmp_path), "", form=form, header=header)
    samples = np.random.default_rng(1).integers(-(1 << 23), 1 << 23, (3000, channels)).astype(np.int32)
    frame = channels * 3
    path = tmp_path / "a.wav"
    path.write_bytes(head(spec, channels, 0, final=False))
    before = 0
    with path.open("r+b") as out, GrowingWave(path) as file:
        for until in (1000, 2000, 3000):
            out.seek(0)
            out.write(head(spec, channels, before * frame, final=False))
            out.seek(0, os.SEEK_END)
            out.write(pack_samples(samples[before:until], 24))
            out.flush()
            assert file.refresh()
            assert (file.info.frames, file.is_final) == (until, False)
            np.testing.assert_array_equal(file.read(before, until - before), samples[before:until])
            before = until
        assert not file.refresh()
        out.seek(0)
        out.write(head(spec, channels, 3000 * frame, final=True))
        out.flush()
        assert file.refresh()
        assert (file.info.frames, file.is_final) == (3000, True)


def test_half_a_frame_is_not_read(tmp_path: Path) -> None:
    """A flush may end inside a frame."""
    path = tmp_path / "a.wav"
    path.write_bytes(head(Recording("", ""), 2, 0, final=False) + bytes(6 * 10 + 4))
    with GrowingWave(path) as file:
        assert file.info.frames == 10


def test_what_became_of_a_file_is_told(tmp_path: Path) -> None:
    """Shortened, renamed, and replaced by another file."""
    path = tmp_path / "a.wav"
    path.write_bytes(head(Recording("", ""), 1, 0, final=False) + bytes(3000))
    with GrowingWave(path) as file:
        assert file.fate() == ""
        path.rename(tmp_path / "b.wav")
        assert file.fate() == "vanished"
        path.write_bytes(b"RIFF")
        assert file.fate() == "replaced"
        with (tmp_path / "b.wav").open("r+b") as out:
            out.truncate(1000)
        with pytest.raises(WaveError, match="shorter"):
            file.refresh()


@pytest.mark.parametrize("length", [b"\0\0\0\0", b"\xff\xff\xff\xff", b"\0\0\2\0"])
def test_a_midi_log_without_its_length_is_read(tmp_path: Path, length: bytes) -> None:
    """A track's length is written when the recorder stops; the events before that are there all the same."""
    whole = log_bytes(Recording("", "", log="mid"), 10.0)
    path = tmp_path / "a.mid"
    path.write_bytes(whole[:18] + length + whole[22 : len(whole) * 3 // 4])
    with InputFile(path) as file:
        found = read_log(file, 48000)
    assert 0.7 * 1200 < found.quarter_data.size < 0.8 * 1200
    assert found.quarter_seconds[-1] == pytest.approx((found.quarter_data.size - 1) / 120, abs=1e-3)


def test_captures_of_a_folder(tmp_path: Path) -> None:
    """Mono files of one folder are one capture, a polyphonic file is one; headers that are not there yet wait."""
    spec = Recording("", "")
    for name, channels in (("A1/02.wav", 1), ("A1/10.wav", 1), ("B1.wav", 8), ("set/x.wav", 1)):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(head(spec, channels, 0, final=False))
    (tmp_path / "set" / "bagit.txt").write_text("")
    (tmp_path / "C1.wav").write_bytes(b"RIFF")
    scanner = Scanner(tmp_path)
    scan = scanner.look()
    assert [(one.name, [path.name for path in one.paths]) for one in scan.captures] == [
        ("A1", ["02.wav", "10.wav"]),
        ("B1", ["B1.wav"]),
    ]
    assert list(scan.unread) == [tmp_path / "C1.wav"]
    (tmp_path / "C1.wav").write_bytes(head(spec, 2, 0, final=False))
    assert [one.name for one in scanner.look().captures] == ["A1", "B1", "C1"]
