"""A whole sheet, and the values that stand where it is silent."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from assembler.errors import SheetError
from assembler.sheet import (
    Deliver,
    Pass,
    Punch,
    Reel,
    Repair,
    TimecodeSource,
    load_sheet,
    parse_sheet,
    sheet_error,
)

SMALLEST = """\
[session]
title = "Harvest supper"
sample_rate = 44100
bit_depth = 20
frame_rate = "25"
[[reel]]
name = "A"
tracks = ["Fiddle"]
[[pass]]
name = "A1"
reel = "A"
audio = "A1.wav"
"""

WHOLE = """\
[session]
title = "Harvest supper, second night"
sample_rate = 48000
bit_depth = 16
frame_rate = "29.97df"
date = 1994-10-01
originator = "Weirside Sound Archive"
reference = "WSA-1994-003"
description = "Barn, natural light; \u00bd hour missing"
timecode_delay_ms = 1.5
start = "01:00:00;00"
end = "01:10:00:00"

[[reel]]
name = "A"
tracks = ["Fiddle", "Voice", "", "Bass"]
prepared = { baked_c = 54.4, baked_hours = 6, machine = "unit 2", cleaned = true, date = 2024-03-01 }
timecode_offset = "-00:10:00:00"

[[reel]]
name = "B"
tracks = ["Drum"]

[[pass]]
name = "A1"
reel = "A"
audio = "captures/A1/*.wav"
timecode = "captures/A1/timecode.mid"
relabel = true

[[pass]]
name = "A2"
reel = "A"
audio = ["a.wav", "b.wav"]
timecode = { ltc_track = 3 }
timecode_delay_ms = -2
fix = true

[[pass]]
name = "B1"
reel = "B"
audio = "B1.wav"

[[punch]]
reel = "A"
pass = "A2"
start = "01:03:10:00"
end = "01:03:14:12"
fade_ms = 12

[repair]
mode = "listed"
scope = "reel"
fade_ms = 5

[deliver]
word_length = 24
checksums = ["sha256", "md5"]
"""


def test_every_key_of_a_whole_sheet_is_read() -> None:
    """Each key a sheet may hold arrives in its record, under its own type."""
    sheet = parse_sheet(WHOLE.encode(), path=Path("x/session.toml"), folder=Path("x"))
    session = sheet.session
    assert (session.title, session.sample_rate, session.bit_depth) == (
        "Harvest supper, second night",
        48000,
        16,
    )
    assert (session.frame_rate, session.date) == ("29.97df", dt.date(1994, 10, 1))
    assert (session.originator, session.reference) == ("Weirside Sound Archive", "WSA-1994-003")
    assert (session.description, session.timecode_delay_ms) == ("Barn, natural light; ½ hour missing", 1.5)
    assert (session.start, session.end) == ("01:00:00;00", "01:10:00:00")
    notes = {
        "baked_c": 54.4,
        "baked_hours": 6,
        "machine": "unit 2",
        "cleaned": True,
        "date": dt.date(2024, 3, 1),
    }
    tracks = ("Fiddle", "Voice", "", "Bass")
    assert sheet.reels == (
        Reel(name="A", tracks=tracks, prepared=notes, timecode_offset="-00:10:00:00"),
        Reel(name="B", tracks=("Drum",)),
    )
    log = TimecodeSource(kind="log", value="captures/A1/timecode.mid")
    track = TimecodeSource(kind="ltc_track", value=3)
    assert sheet.passes == (
        Pass(name="A1", reel="A", audio="captures/A1/*.wav", timecode=log, relabel=True),
        Pass(name="A2", reel="A", audio=("a.wav", "b.wav"), timecode=track, timecode_delay_ms=-2, fix=True),
        Pass(name="B1", reel="B", audio="B1.wav"),
    )
    assert sheet.punches == (
        Punch.model_validate(
            {"reel": "A", "pass": "A2", "start": "01:03:10:00", "end": "01:03:14:12", "fade_ms": 12}
        ),
    )
    assert sheet.repair == Repair(mode="listed", scope="reel", fade_ms=5)
    assert sheet.deliver == Deliver(word_length=24, checksums=("sha256", "md5"))
    assert (sheet.path, sheet.folder, sheet.text) == (Path("x/session.toml"), Path("x"), WHOLE.encode())


def test_what_the_smallest_sheet_leaves_out_is_filled_in() -> None:
    """The defaults are the ones the sheet's rules name."""
    sheet = parse_sheet(SMALLEST.encode(), path=None, folder=Path("x"))
    assert sheet.repair == Repair(mode="auto", scope="track", fade_ms=10)
    assert sheet.deliver == Deliver(word_length=24, checksums=("sha256",))
    assert sheet.passes[0].timecode == TimecodeSource(kind="default", value=None)
    assert (sheet.session.timecode_delay_ms, sheet.session.date, sheet.session.start) == (0.0, None, None)
    assert (sheet.passes[0].timecode_delay_ms, sheet.passes[0].relabel, sheet.passes[0].fix) == (
        None,
        False,
        False,
    )
    assert (sheet.punches, dict(sheet.reels[0].prepared)) == ((), {})


@pytest.mark.parametrize(("bit_depth", "word_length"), [(16, 16), (20, 24), (24, 24)])
def test_the_word_length_is_the_smallest_that_holds_the_tape(bit_depth: int, word_length: int) -> None:
    """Without a word_length, 16-bit tapes are delivered as 16 bits, longer words as 24."""
    text = SMALLEST.replace("bit_depth = 20", f"bit_depth = {bit_depth}")
    assert parse_sheet(text.encode(), path=None, folder=Path("x")).deliver.word_length == word_length


@pytest.mark.parametrize(
    ("written", "kind", "value"),
    [
        ('"logs/A1.MID"', "log", "logs/A1.MID"),
        ('"logs/A1.csv"', "log", "logs/A1.csv"),
        ('{ ltc = "ltc.wav" }', "ltc", "ltc.wav"),
        ("{ ltc_track = 1 }", "ltc_track", 1),
        ('{ start = "23:59:59:24" }', "start", "23:59:59:24"),
        ('"bext"', "bext", None),
    ],
)
def test_every_source_of_timecode_becomes_one_record(written: str, kind: str, value: object) -> None:
    """The several ways to write a timecode source differ only in kind and value afterwards."""
    sheet = parse_sheet(f"{SMALLEST}timecode = {written}\n".encode(), path=None, folder=Path("x"))
    assert (sheet.passes[0].timecode.kind, sheet.passes[0].timecode.value) == (kind, value)


def test_a_pass_found_by_its_sound_needs_another_with_timecode() -> None:
    """A pass may be placed by its sound as soon as another pass of its reel has a timecode of its own."""
    second = '[[pass]]\nname = "A2"\nreel = "A"\naudio = "A2.wav"\ntimecode = "audio"\n'
    sheet = parse_sheet((SMALLEST + second).encode(), path=None, folder=Path("x"))
    assert sheet.passes[1].timecode == TimecodeSource(kind="audio")


def test_a_byte_order_mark_and_windows_line_ends_are_no_mistake() -> None:
    """A sheet saved by an editor with its own habits reads the same, and its bytes are kept."""
    data = b"\xef\xbb\xbf" + SMALLEST.replace("\n", "\r\n").encode()
    sheet = parse_sheet(data, path=None, folder=Path("x"))
    assert sheet.session == parse_sheet(SMALLEST.encode(), path=None, folder=Path("x")).session
    assert sheet.text == data


def test_lines_are_counted_the_same_with_windows_line_ends() -> None:
    """A mistake in a sheet with Windows line ends is told on the line that an editor shows."""
    data = (
        b"\xef\xbb\xbf" + SMALLEST.replace("bit_depth = 20", "bit_depth = 21").replace("\n", "\r\n").encode()
    )
    with pytest.raises(SheetError) as caught:
        parse_sheet(data, path=None, folder=Path("x"))
    assert caught.value.line == 4


def test_a_session_may_end_after_midnight() -> None:
    """An end label before the start label is allowed where midnight lies between."""
    text = SMALLEST.replace('"25"', '"25"\nstart = "23:30:00:00"\nend = "00:30:00:00"')
    assert parse_sheet(text.encode(), path=None, folder=Path("x")).session.end == "00:30:00:00"


def test_paths_may_leave_the_folder_when_that_is_allowed() -> None:
    """With allow_outside a path above the sheet's folder is taken."""
    text = SMALLEST.replace('"A1.wav"', '"../A1.wav"')
    sheet = parse_sheet(text.encode(), path=None, folder=Path("x"), allow_outside=True)
    assert (sheet.passes[0].audio, sheet.allow_outside) == ("../A1.wav", True)


def test_a_path_may_go_up_and_down_inside_the_folder() -> None:
    """Going up is no mistake as long as the path stays below the sheet's folder."""
    text = SMALLEST.replace('"A1.wav"', '"captures/../A1.wav"')
    assert parse_sheet(text.encode(), path=None, folder=Path("x")).passes[0].audio == "captures/../A1.wav"


def test_a_sheet_is_loaded_from_its_file(tmp_path: Path) -> None:
    """Loading gives path, folder and bytes of the file."""
    path = tmp_path / "session.toml"
    path.write_bytes(SMALLEST.encode())
    sheet = load_sheet(path)
    assert (sheet.path, sheet.folder, sheet.text) == (path, tmp_path, SMALLEST.encode())


def test_a_later_finding_is_told_at_its_key() -> None:
    """Whoever finds a mistake with the files open can name the sheet's line and key for it."""
    sheet = parse_sheet(WHOLE.encode(), path=Path("s.toml"), folder=Path("x"))
    error = sheet_error(sheet, sheet.passes[1], "audio", "found 2 files; allowed: 4")
    line = WHOLE.split("\n").index('audio = ["a.wav", "b.wav"]') + 1
    assert str(error) == f"s.toml: line {line}: pass[2].audio: found 2 files; allowed: 4"


def test_a_later_finding_is_told_in_a_sheet_with_a_byte_order_mark() -> None:
    """A byte order mark does not move or hide the line of a later finding."""
    sheet = parse_sheet(b"\xef\xbb\xbf" + SMALLEST.encode(), path=None, folder=Path("x"))
    assert sheet_error(sheet, sheet.session, "originator", "none").line == 1


def test_a_later_finding_at_an_absent_key_is_told_at_its_table() -> None:
    """A key that the sheet leaves to its default has the line of its table."""
    sheet = parse_sheet(SMALLEST.encode(), path=None, folder=Path("x"))
    assert sheet_error(sheet, sheet.passes[0], "timecode", "none").line == 9
    assert sheet_error(sheet, sheet.reels[0], "tracks", "none").line == 8
    assert sheet_error(sheet, sheet.session, "frame_rate", "none").line == 5
