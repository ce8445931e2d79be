"""Sheets that are no sheets: wrong files, wrong bytes, hostile text."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.errors import SheetError
from assembler.sheet import load_sheet, parse_sheet

GOOD = b"""\
[session]
title = "Harvest supper"
sample_rate = 48000
bit_depth = 16
frame_rate = "30"
[[reel]]
name = "A"
tracks = ["Fiddle", "Bass"]
[[pass]]
name = "A1"
reel = "A"
audio = ["a.wav", "b.wav"]
timecode = { start = "01:00:00:00" }
[[punch]]
reel = "A"
pass = "A1"
start = "01:01:00:00"
end = "01:02:00:00"
"""

MANY_PASSES = b"".join(b'[[pass]]\nname = "P%d"\nreel = "R%d"\naudio = "x"\n' % (n, n) for n in range(12_000))

HOSTILE = {
    "nothing": (b"", None, "the file is empty"),
    "only a byte order mark": (b"\xef\xbb\xbf\n", None, "the file is empty"),
    "not UTF-8": (GOOD.replace(b"Harvest", b"H\xe4rvest"), 2, "found the byte 0xE4, which is not UTF-8"),
    "UTF-16": (GOOD.decode().encode("utf-16"), 1, "saved as UTF-16"),
    "too large": (b"# " + b"x" * (1 << 20), None, "more than 1048576 bytes"),
    "nested brackets": (b"x = " + b"[" * 50_000, None, "nested too deeply"),
    "nested tables": (b"x = " + b"{a=" * 5_000 + b"1" + b"}" * 5_000, None, "nested too deeply"),
    "a key of dots": (GOOD + b"a" + b".a" * 50_000 + b" = 1", 19, "more than 1000 dots"),
    "a huge number": (b"x = " + b"1" * 6000, None, "a number has too many digits"),
    "an impossible date": (b"x = 1995-02-30", 1, "not valid TOML"),
    "cut in a text": (GOOD[: GOOD.index(b"supper")], 2, "not valid TOML"),
    "a WAV file": (b"RIFF\x24\x00\x00\x00WAVEfmt ", 1, "not valid TOML"),
    "many unknown keys": (b"".join(b"k%d = 1\n" % n for n in range(50_000)), 1, "and 50002 more"),
    "many unknown reels": (MANY_PASSES, 3, 'found the unknown reel "R0"; allowed: none'),
    "many wrong tracks": (
        GOOD.replace(b'["Fiddle", "Bass"]', b"[" + b"1," * 300_000 + b"]"),
        8,
        "a list of 300000",
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_no_sheet_is_told_in_two_lines_at_most(name: str) -> None:
    """Every text that is no sheet gives a short SheetError, and nothing else."""
    text, line, words = HOSTILE[name]
    with pytest.raises(SheetError) as caught:
        parse_sheet(text, path=Path("s.toml"), folder=Path("x"))
    message = str(caught.value)
    assert message.startswith("s.toml: ")
    assert words in message
    assert caught.value.line == line
    assert message.count("\n") <= 1
    assert len(message) < 400


def test_a_file_that_is_no_sheet_is_told(tmp_path: Path) -> None:
    """A missing file, a folder and a pipe each give one plain line; a pipe is never waited for."""
    os.mkfifo(tmp_path / "pipe")
    for path, words in {
        tmp_path / "none.toml": "no such file",
        tmp_path / "none" / "none.toml": "no such file",
        tmp_path: "a folder, not a regular file",
        tmp_path / "pipe": "a named pipe, not a regular file",
        tmp_path / ("x" * 300): "cannot be opened: File name too long",
    }.items():
        with pytest.raises(SheetError) as caught:
            load_sheet(path)
        assert words in caught.value.problem
        assert str(caught.value).startswith(f"{path}: ")


def test_a_sheet_cut_anywhere_is_good_or_told() -> None:
    """A sheet that ends after any of its bytes is read or refused with a SheetError: nothing else is
    raised.
    """
    outcomes = set()
    for length in range(len(GOOD)):
        try:
            parse_sheet(GOOD[:length], path=None, folder=Path("x"))
            outcomes.add("read")
        except SheetError:
            outcomes.add("refused")
    assert outcomes == {"read", "refused"}


@settings(deadline=None)
@given(position=st.integers(0, len(GOOD) - 1), bit=st.integers(0, 7))
def test_a_flipped_bit_is_good_or_told(position: int, bit: int) -> None:
    """A sheet with any one bit flipped is read or refused with a SheetError whose line is in the sheet."""
    damaged = bytearray(GOOD)
    damaged[position] ^= 1 << bit
    line: int | None = None
    try:
        parse_sheet(bytes(damaged), path=None, folder=Path("x"))
    except SheetError as error:
        line = error.line
    assert line is None or 1 <= line <= GOOD.count(b"\n") + 1
