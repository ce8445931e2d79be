"""Drafts: what is found in a folder becomes a sheet that parses."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from assembler.drafting.found import Draft, DraftPass
from assembler.drafting.names import split_pass_name, track_name_from_file
from assembler.drafting.writing import write_draft
from assembler.errors import SheetError
from assembler.sheet import Sheet, TimecodeSource, parse_sheet


def parsed(text: str) -> Sheet:
    """Parse a draft as it was written."""
    return parse_sheet(text.encode(), path=None, folder=Path("x"))


def test_a_draft_of_a_usual_folder_parses_into_what_was_found() -> None:
    """Rates, reels, tracks, passes and logs arrive in the sheet, the passes of a reel by their number."""
    found = (
        DraftPass(
            "A2", ("A2/1.wav", "A2/2.wav"), 2, 44_100, 24, "A2/*.wav", log="A2/log.mid", frame_rate="25"
        ),
        DraftPass("A10", ("A10/1.wav", "A10/2.wav"), 2, 44_100, 24, "A10/*.wav", ltc="A10/ltc.wav"),
        DraftPass("A1", ("A1/01 Fiddle.wav", "A1/02.wav"), 2, 44_100, 24),
        DraftPass("B1", ("B1.wav",), 3, 44_100, 24, frame_rate="25"),
    )
    sheet = parsed(write_draft(Draft("Harvest supper", found)))
    session = sheet.session
    assert (session.title, session.sample_rate, session.bit_depth, session.frame_rate) == (
        "Harvest supper", 44_100, 24, "25",
    )  # fmt: skip
    assert [(reel.name, reel.tracks) for reel in sheet.reels] == [
        ("A", ("Fiddle", "Track 2")),
        ("B", ("Track 1", "Track 2", "Track 3")),
    ]
    assert [(each.name, each.reel, each.audio) for each in sheet.passes] == [
        ("A1", "A", ("A1/01 Fiddle.wav", "A1/02.wav")),
        ("A2", "A", "A2/*.wav"),
        ("A10", "A", "A10/*.wav"),
        ("B1", "B", "B1.wav"),
    ]
    assert [each.timecode for each in sheet.passes] == [
        TimecodeSource(),
        TimecodeSource(kind="log", value="A2/log.mid"),
        TimecodeSource(kind="ltc", value="A10/ltc.wav"),
        TimecodeSource(),
    ]


def test_a_draft_says_what_was_guessed_and_what_to_check() -> None:
    """Contradictions and gaps stand as comments beside the value they concern."""
    found = (
        DraftPass("A1", ("1.wav",), 1, 48_000, 16),
        DraftPass("A2", ("2.wav", "3.wav"), 2, 44_100, 16, notes=("header says 0 bytes\nof audio",)),
    )
    lines = write_draft(Draft("", found)).split("\n")
    assert any(
        line.startswith("sample_rate") and "CHECK: the files differ: 48000 Hz, 44100 Hz" in line
        for line in lines
    )
    assert any(
        line.startswith("frame_rate") and "GUESSED: the timecode logs say nothing" in line for line in lines
    )
    assert any("CHECK: A1 has 1 tracks, A2 has 2" in line for line in lines)
    assert any("CHECK: no timecode found" in line for line in lines)
    assert r"# CHECK: header says 0 bytes\x0aof audio" in lines


def test_names_that_came_twice_are_numbered() -> None:
    """Two folders of one name, and two tracks of one name, still give a sheet that parses."""
    found = (
        DraftPass("A1", ("x/1 Gtr.wav", "x/2 Gtr.wav"), 2),
        DraftPass("A1", ("y/1 Gtr.wav", "y/2 Gtr.wav"), 2),
    )
    sheet = parsed(write_draft(Draft("x", found)))
    assert [each.name for each in sheet.passes] == ["A1", "A1 2"]
    assert sheet.reels[0].tracks == ("Gtr", "Gtr 2")


def test_the_passes_of_a_reel_come_in_the_order_of_their_numbers() -> None:
    """A retake comes after the first take, whatever the alphabet says: the order is one of trust."""
    found = (DraftPass("B retake", ("2.wav",), 1), DraftPass("B take 1", ("1.wav",), 1))
    sheet = parsed(write_draft(Draft("x", found)))
    assert [(each.name, each.reel) for each in sheet.passes] == [("B take 1", "B"), ("B retake", "B")]


def test_an_empty_draft_is_refused() -> None:
    """A folder without captures has no draft."""
    with pytest.raises(SheetError, match="no captures found"):
        write_draft(Draft("x", ()))


@pytest.mark.parametrize(
    ("name", "reel", "number"),
    [
        ("A2", "A", 2),
        ("A", "A", 1),
        ("drums-03", "drums", 3),
        ("Reel 3", "Reel 3", 1),
        ("tape_12", "tape_12", 1),
        ("tape1_take2", "tape1", 2),
        ("Reel A pass 3", "Reel A", 3),
        ("B retake", "B", 2),
        ("7", "7", 1),
        ("take 2", "take", 2),
        ("", "A", 1),
    ],
)
def test_a_pass_name_speaks_of_reel_and_number(name: str, reel: str, number: int) -> None:
    """The number at the end counts captures unless it is the tape's own."""
    assert split_pass_name(name) == (reel, number)


@pytest.mark.parametrize(
    ("file", "pass_name", "track"),
    [
        ("03 Snare.wav", "", "Snare"),
        ("03.wav", "", ""),
        ("Track 03.wav", "", ""),
        ("track_03_Lead_Vox.wav", "", "Lead Vox"),
        ("A1_04_Bass.WAV", "A1", "Bass"),
        ("A12 Bass.wav", "A1", "A12 Bass"),
        ("808 kick.wav", "", "kick"),
        ("Vox.L.wav", "", "Vox.L"),
    ],
)
def test_a_file_name_speaks_of_its_track(file: str, pass_name: str, track: str) -> None:
    """Number, pass name and suffix are not part of the track's name."""
    assert track_name_from_file(file, pass_name) == track


def test_files_called_unused_are_unused_tracks() -> None:
    """A capture's file that says that its track is unused becomes "", however many there are."""
    files = ("1 Kick.wav", "2 unused.wav", "3 Unused.wav", "4 Bass.wav")
    text = write_draft(Draft("x", (DraftPass("A1", files, 4, 48000, 16),)))
    assert tomllib.loads(text)["reel"][0]["tracks"] == ["Kick", "", "", "Bass"]
