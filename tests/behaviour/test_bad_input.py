"""Bad input: one or two plain lines with file and place, status 2, nothing written, captures untouched."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from assembler.cli.commands import run
from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def good_session(folder: Path) -> Path:
    """Write a sound session of one reel and two passes."""
    tape = make_tape(2, 2)
    layout = Layout(folder)
    layout.add_reel("A", ["Kick", "Snare"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", tape[12000:], HOUR + 12000)
    return layout.write()


def replace_text(sheet: Path, old: str, new: str) -> None:
    """Change the sheet as a person would, by hand."""
    text = sheet.read_text()
    assert old in text
    sheet.write_text(text.replace(old, new, 1))


def _no_capture(sheet: Path) -> None:
    shutil.rmtree(sheet.parent / "captures" / "A2")


def _one_track_short(sheet: Path) -> None:
    (sheet.parent / "captures" / "A2" / "02.wav").unlink()


def _listed_file_missing(sheet: Path) -> None:
    replace_text(sheet, '"captures/A2/*.wav"', '["captures/A2/01.wav", "captures/A2/09.wav"]')


def _rates_differ(sheet: Path) -> None:
    tape = np.zeros(1000, np.int16)
    soundfile.write(sheet.parent / "captures" / "A1" / "02.wav", tape, 44100, subtype="PCM_16")


def _other_rate(sheet: Path) -> None:
    for name in ("01.wav", "02.wav"):
        soundfile.write(
            sheet.parent / "captures" / "A1" / name, np.ones(9000, np.int16), 44100, subtype="PCM_16"
        )


def _no_wave(sheet: Path) -> None:
    (sheet.parent / "captures" / "A1" / "01.wav").write_text("not a recording at all")


def _float_wave(sheet: Path) -> None:
    path = sheet.parent / "captures" / "A1" / "01.wav"
    soundfile.write(path, np.zeros(1000), 48000, subtype="FLOAT")


def _compressed_wave(sheet: Path) -> None:
    path = sheet.parent / "captures" / "A1" / "01.wav"
    soundfile.write(path, np.zeros(1000), 48000, subtype="IMA_ADPCM")


def _log_without_timecode(sheet: Path) -> None:
    header = bytes.fromhex("4D546864 00000006 0000 0001 E250 4D54726B 00000004 00 FF2F00")
    (sheet.parent / "captures" / "A2" / "timecode.mid").write_bytes(header)


def _no_log(sheet: Path) -> None:
    (sheet.parent / "captures" / "A2" / "timecode.mid").unlink()


def _junk_log(sheet: Path) -> None:
    (sheet.parent / "captures" / "A2" / "timecode.mid").write_bytes(b"\xff" * 4000)


def _log_of(sheet: Path, parts: list[int]) -> None:
    """Put a log in place of pass A2's whose readings all carry these eight pieces."""
    messages = [f"{index / 120:.6f},F1{index % 8 << 4 | parts[index % 8]:02X}" for index in range(160)]
    log = sheet.parent / "captures" / "A2" / "timecode.csv"
    log.write_text("\n".join(["seconds,bytes", *messages, ""]), encoding="ascii")
    log.with_suffix(".mid").unlink()


def _hour_of_25(sheet: Path) -> None:
    _log_of(sheet, [0, 0, 0, 0, 0, 0, 9, 7])


def _frame_of_30(sheet: Path) -> None:
    _log_of(sheet, [14, 1, 0, 0, 0, 0, 1, 6])


def _log_cut(sheet: Path) -> None:
    log = sheet.parent / "captures" / "A2" / "timecode.mid"
    log.write_bytes(log.read_bytes()[:40])


def _one_name_twice(sheet: Path) -> None:
    replace_text(sheet, 'name = "A2"', 'name = "A1"')


def _unknown_reel(sheet: Path) -> None:
    replace_text(sheet, 'name = "A2"\nreel = "A"', 'name = "A2"\nreel = "Q"')


def _unknown_key(sheet: Path) -> None:
    replace_text(sheet, "sample_rate", "sample_rte = 48000\nsample_rate")


def _outside(sheet: Path) -> None:
    replace_text(sheet, "captures/A2/*.wav", "../elsewhere/*.wav")


def _syntax(sheet: Path) -> None:
    replace_text(sheet, 'title = "Small session"', 'title = "Small session')


def _is_folder(sheet: Path) -> None:
    sheet.unlink()
    sheet.mkdir()


def _gone(sheet: Path) -> None:
    sheet.unlink()


def _empty_wave(sheet: Path) -> None:
    (sheet.parent / "captures" / "A1" / "01.wav").write_bytes(b"")


def _end_before_start(sheet: Path) -> None:
    replace_text(sheet, "bit_depth", 'start = "01:00:01:00"\nend = "01:00:00:10"\nbit_depth')


def _bits_below(sheet: Path) -> None:
    path = sheet.parent / "captures" / "A1" / "01.wav"
    soundfile.write(path, np.full(96000, 257 << 8, np.int32), 48000, subtype="PCM_24")


def _stripe_of_all_rates(sheet: Path) -> None:
    """A timecode recording whose header says four thousand million samples a second: it took a gigabyte."""
    path = sheet.parent / "captures" / "A1" / "01.wav"
    data = bytearray(path.read_bytes())
    data[24:28] = b"\xff\xff\xff\xff"
    (sheet.parent / "captures" / "stripe.wav").write_bytes(data)
    log = '"captures/A1/*.wav"\ntimecode = { ltc = "captures/stripe.wav" }'
    replace_text(sheet, '"captures/A1/*.wav"', log)


def _time_of_the_universe(sheet: Path) -> None:
    log = sheet.parent / "captures" / "A2" / "timecode.csv"
    rows = [f"{1e300 + index / 120},F1{index % 8 << 4:02X}" for index in range(160)]
    log.write_text("\n".join(["seconds,bytes", *rows, ""]), encoding="ascii")
    log.with_suffix(".mid").unlink()


def _chunks_without_end(sheet: Path) -> None:
    data = b"WAVE" + b"junk\0\0\0\0" * 5000 + b"fmt "
    (sheet.parent / "captures" / "A1" / "01.wav").write_bytes(b"RIFF" + bytes(4) + data)


CASES: list[tuple[Callable[[Path], None], list[str]]] = [
    (_no_capture, ["session.toml", "line", "pass[2].audio", "captures/A2/*.wav"]),
    (_one_track_short, ["session.toml", "pass[2].audio", "1 track in 1 file", "2 tracks"]),
    (_listed_file_missing, ["session.toml", "pass[2].audio", "09.wav"]),
    (_rates_differ, ["02.wav", "44100", "48000"]),
    (_other_rate, ["01.wav", "44100", "48000", "relabel"]),
    (_no_wave, ["01.wav", "RIFF"]),
    (_float_wave, ["01.wav", "float"]),
    (_compressed_wave, ["01.wav", "compressed"]),
    (_log_without_timecode, ["timecode.mid", "timecode", "start, or bext or audio"]),
    (_no_log, ["session.toml", "pass[2].timecode", "log"]),
    (_junk_log, ["timecode.mid", "MIDI"]),
    (_hour_of_25, ["timecode.csv", "25:00:00:00", "allowed: 0 to 23", "start, or bext or audio"]),
    (_frame_of_30, ["timecode.csv", "01:00:00:30", "rate 30", "frame_rate"]),
    (_log_cut, ["timecode.mid", "start, or bext or audio"]),
    (_one_name_twice, ["session.toml", "pass[2].name", "A1"]),
    (_unknown_reel, ["session.toml", "pass[2].reel", "Q"]),
    (_unknown_key, ["session.toml", "line", "sample_rte", "sample_rate"]),
    (_outside, ["session.toml", "pass[2].audio", "folder"]),
    (_syntax, ["session.toml", "line 2"]),
    (_is_folder, ["session.toml", "folder"]),
    (_gone, ["session.toml"]),
    (_empty_wave, ["01.wav"]),
    (_end_before_start, ["session.toml", "session.end"]),
    (_stripe_of_all_rates, ["stripe.wav", "4294967295 Hz", "allowed: up to 384000 Hz"]),
    (_time_of_the_universe, ["timecode.csv", "a time of 1e+300 s"]),
    (_chunks_without_end, ["01.wav", "no data chunk", "more than 4096 chunks"]),
    (_bits_below, ["01.wav", "16-bit"]),
]


@pytest.mark.parametrize(("damage", "words"), CASES, ids=[case[0].__name__.strip("_") for case in CASES])
def test_bad_input_is_told_plainly(
    tmp_path: Path,
    damage: Callable[[Path], None],
    words: list[str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each mistake gives status 2 and at most two lines that name the file, the place and the finding."""
    sheet = good_session(tmp_path)
    damage(sheet)
    before = sorted(path.name for path in tmp_path.iterdir())
    for command in (["check", str(sheet)], ["build", str(sheet), "-o", str(tmp_path / "set")]):
        status = run(command)
        out = capsys.readouterr()
        assert status == 2, out
        assert out.out == ""
        lines = out.err.splitlines()
        assert 1 <= len(lines) <= 2
        assert "Traceback" not in out.err
        for word in words:
            assert word in out.err, out.err
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_a_good_session_of_the_same_make_builds(tmp_path: Path) -> None:
    """The session that the mistakes are made in is sound without them."""
    assert run(["build", str(good_session(tmp_path)), "-o", str(tmp_path / "set")]) == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["bild", "x"], "bild"),
        (["build", "x.toml"], "-o"),
        (["build", "x.toml", "--outptu", "y"], "--outptu"),
        (["verify"], "SET"),
        (["verify", "no-such-folder"], "no-such-folder"),
        (["draft", "no-such-folder"], "no-such-folder"),
        (["check", "no-such-sheet.toml"], "no-such-sheet.toml"),
    ],
)
def test_mistyped_commands_end_with_2(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A command that makes no sense is told in one or two lines and status 2."""
    assert run(arguments) == 2
    out = capsys.readouterr()
    assert words in out.err
    assert len(out.err.splitlines()) <= 2
