"""What a watch meets beside captures: links, sheets that are wrong for a while, other watches, mixes, a full cache."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assembler.drafting import draft_sheet
from assembler.errors import SheetError
from assembler.known import FOLDER_VARIABLE, open_known
from assembler.watch import Watch
from assembler.watch.captures.scanning import Scanner
from tests.support.growing import Growing, Looks
from tests.support.recorder import Recording, head
from tests.support.sessions import RATE, make_tape

if TYPE_CHECKING:
    from pathlib import Path

SHEET = """
[session]
title = "Links"
sample_rate = 48000
bit_depth = 24
frame_rate = "30"

[[reel]]
name = "A"
tracks = ["One", "Two"]

[[pass]]
name = "first"
reel = "A"
audio = "A1.wav"
timecode = "timecode.csv"
"""


def test_links_to_a_folder_and_to_a_file_are_followed_once(tmp_path: Path) -> None:
    """A watch is given a link; in the folder a second name of one file makes no second pass of what is recorded."""
    place, link = tmp_path / "place", tmp_path / "link"
    place.mkdir()
    link.symlink_to(place)
    tape = make_tape(5, 2, bits=24)
    with Growing(place / "A1.wav", 2) as growing, Watch(link) as watch:
        looks = Looks(watch)
        growing.log(5.0)
        (place / "B1.wav").symlink_to(place / "A1.wav")
        for second in range(5):
            growing.add(tape[second * RATE : (second + 1) * RATE])
            looks.look()
    recorded = [one for one in looks.told if one.event == "recording"]
    assert len({one.pass_name for one in recorded}) == 1
    assert recorded[-1].more["samples"] >= 4 * RATE


def test_a_sheet_that_is_wrong_for_a_while(tmp_path: Path) -> None:
    """Wrong at first it is refused in a line; wrong later the last right one holds, until it is right again."""
    sheet = tmp_path / "session.toml"
    sheet.write_text(SHEET.replace("sample_rate = 48000", "sample_rate = "))
    with pytest.raises(SheetError):
        Watch(sheet)
    sheet.write_text(SHEET)
    tape = make_tape(6, 2, bits=24)
    with Growing(tmp_path / "A1.wav", 2) as growing, Watch(sheet) as watch:
        looks = Looks(watch)
        growing.log(6.0)
        for second in range(6):
            if second == 2:
                sheet.write_text("[session")
            if second == 4:
                sheet.write_text(SHEET)
            growing.add(tape[second * RATE : (second + 1) * RATE])
            looks.look()
        growing.finish()
        for _ in range(2):
            looks.look(4.0)
        told = [*looks.told, *watch.finish(60.0)]
    assert {one.pass_name for one in told if one.event == "recording"} == {"first"}
    assert [one.words for one in told if one.event == "ended"] == ["finished"]
    assert told[-1].event == "retakes"
    assert told[-1].words == ""


def test_two_watches_of_one_folder_say_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is locked, and both remember in one folder."""
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "cache"))
    place = tmp_path / "place"
    place.mkdir()
    tape = make_tape(6, 2, bits=24)
    tape[2 * RATE : 2 * RATE + 900] = 0
    known = [open_known(64, print) for _ in range(2)]
    with (
        Growing(place / "A1.wav", 2) as growing,
        Watch(place, known=known[0]) as one,
        Watch(place, known=known[1]) as two,
    ):
        both = Looks(one), Looks(two)
        growing.log(6.0)
        for second in range(6):
            growing.add(tape[second * RATE : (second + 1) * RATE])
            for looks in both:
                looks.look()
        growing.finish()
        for looks in both:
            looks.look(4.0)
            looks.look(4.0)
            looks.told += looks.watch.finish(60.0)
    first, second_one = ([(e.event, e.pass_name, e.kind, e.start, e.words) for e in b.told] for b in both)
    assert first == second_one
    assert ("flaw", "mute") in {(event, kind) for event, _, kind, _, _ in first}


def test_a_cache_that_takes_nothing_stops_no_watch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a full disk every write fails: what is found out is found out again next time, and that is all."""
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "cache"))
    place = tmp_path / "place"
    place.mkdir()
    tape = make_tape(5, 2, bits=24)
    known = open_known(64, print)

    def full(*_: object, **__: object) -> int:
        raise OSError(28, "No space left on device")

    with Growing(place / "A1.wav", 2) as growing, Watch(place, known=known) as watch:
        growing.log(5.0)
        growing.add(tape)
        growing.finish()
        looks = Looks(watch)
        looks.look()
        for name in ("write", "fsync", "replace"):
            monkeypatch.setattr(f"os.{name}", full)
        looks.look(4.0)
        looks.look(4.0)
        told = [*looks.told, *watch.finish(60.0)]
        monkeypatch.undo()
    assert told[-1].event == "retakes"
    assert told[-1].lines


def test_a_mono_mix_among_numbered_tracks_is_no_track(tmp_path: Path) -> None:
    """Neither a watch nor a draft counts it, and the draft says so."""
    spec = Recording("", "")
    place = tmp_path / "A1"
    place.mkdir()
    for name in ("01", "02", "03", "04", "Rough mix"):
        (place / f"{name}.wav").write_bytes(head(spec, 1, 3 * 4800, final=True) + bytes(3 * 4800))
    (one,) = Scanner(tmp_path).look().captures
    assert (one.tracks, [path.stem for path in one.paths]) == (4, ["01", "02", "03", "04"])
    text = draft_sheet(tmp_path)
    assert "Rough mix.wav is left out: the only one of 5 without a number, a mix and no track" in text
    assert text.count('"A1/0') == 4
