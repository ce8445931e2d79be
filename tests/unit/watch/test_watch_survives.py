"""What may befall captures while they are watched: machines that stop, files that change, folders full of anything."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from assembler.watch import Watch
from tests.support.growing import Growing, Looks
from tests.support.recorder import Recording
from tests.support.sessions import RATE, make_tape

if TYPE_CHECKING:
    from pathlib import Path

DAY_FRAMES = 24 * 3600 * 30
"""Of timecode at 30 frames a second."""


def test_a_recorder_that_stops_is_told(tmp_path: Path) -> None:
    """No sound for 3 s is told once, the end after 12 s; its timecode is not called lost, nor is anything a flaw."""
    tape = make_tape(8, 3, bits=24)
    with Growing(tmp_path / "A1.wav", 3) as growing, Watch(tmp_path) as watch:
        growing.log(8.0)
        looks = Looks(watch)
        for low in range(0, len(tape), RATE):
            growing.add(tape[low : low + RATE])
            looks.look()
        for _ in range(14):
            looks.look()
    stalled = [one for one in looks.told if one.kind == "stalled"]
    assert [one.words for one in stalled] == ["recording, 8.0 s; no sound comes any more"]
    ended = [one for one in looks.told if one.event == "ended"]
    assert [one.words for one in ended] == ["stopped growing, and its header was never finished"]
    assert looks.told.index(stalled[0]) < looks.told.index(ended[0])
    assert not [one for one in looks.told if one.event == "flaw" or one.kind == "lost"]


def test_a_tape_machine_that_stops_under_a_recorder_is_told(tmp_path: Path) -> None:
    """Silence without timecode: the timecode is lost, the silence is run-out and no flaw."""
    tape = make_tape(16, 3, bits=24)
    tape[8 * RATE :] = 0
    with Growing(tmp_path / "A1.wav", 3) as growing, Watch(tmp_path) as watch:
        looks = Looks(watch)
        for second in range(16):
            if second < 8:
                growing.log(second + 1.0)
            growing.add(tape[second * RATE : (second + 1) * RATE])
            looks.look()
        growing.finish()
        for _ in range(5):
            looks.look()
    lost = [one for one in looks.told if one.kind == "lost"]
    assert len(lost) == 1
    assert lost[0].start is not None
    assert abs(lost[0].start - 8 * RATE) <= RATE // 10
    assert looks.told.index(lost[0]) < next(
        number for number, one in enumerate(looks.told) if one.event == "ended"
    )
    assert not [one for one in looks.told if one.event == "flaw"]


def test_midnight_of_timecode_passes(tmp_path: Path) -> None:
    """A tape whose timecode goes over 24:00:00:00: labels behind it begin with 00, and it is not lost."""
    tape = make_tape(16, 3, bits=24)
    tape[12 * RATE : 12 * RATE + 900] = 0
    spec = Recording("", "", start_frame=DAY_FRAMES - 300)
    with Growing(tmp_path / "A1.wav", 3, spec) as growing, Watch(tmp_path) as watch:
        looks = Looks(watch)
        for second in range(16):
            growing.log(second + 1.0)
            growing.add(tape[second * RATE : (second + 1) * RATE])
            looks.look()
    flaws = [one for one in looks.told if one.event == "flaw"]
    assert [(one.kind, one.timecode) for one in flaws] == [("mute", "00:00:02:00")]
    assert [one.kind for one in looks.told if one.event == "timecode"] == ["found"]


def test_a_capture_that_is_replaced_is_followed_anew(tmp_path: Path) -> None:
    """Another file by the same name ends the first capture, and is one itself."""
    tape = make_tape(12, 2, bits=24)
    aside = tmp_path / "aside"
    aside.mkdir()
    with Growing(tmp_path / "A1.wav", 2) as first, Watch(tmp_path) as watch:
        looks = Looks(watch)
        for second in range(4):
            first.add(tape[second * RATE : (second + 1) * RATE])
            looks.look()
        with Growing(aside / ".new", 2) as second_one:
            os.replace(aside / ".new", tmp_path / "A1.wav")  # noqa: PTH105 - as a recorder would
            for second in range(4):
                second_one.add(tape[second * RATE : (second + 1) * RATE])
                looks.look()
    ended = [one for one in looks.told if one.event == "ended"]
    assert [one.words for one in ended] == ["replaced by another capture"]
    behind = looks.told[looks.told.index(ended[0]) + 1 :]
    assert max(one.more["samples"] for one in behind if one.event == "recording") >= 2 * RATE


def test_a_log_that_comes_late_is_read(tmp_path: Path) -> None:
    """Without a log it is told that there is no timecode; when one comes, it is found, and places have labels."""
    tape = make_tape(24, 2, bits=24)
    tape[20 * RATE : 20 * RATE + 900] = 0
    with Growing(tmp_path / "A1.wav", 2) as growing, Watch(tmp_path) as watch:
        looks = Looks(watch)
        for second in range(24):
            if second >= 15:
                growing.log(second + 1.0)
            growing.add(tape[second * RATE : (second + 1) * RATE])
            looks.look()
    clocks = [one for one in looks.told if one.event == "timecode"]
    assert [one.kind for one in clocks] == ["none", "found"]
    # No line of a sheet that was drafted in memory.
    assert clocks[0].words.startswith("no timecode so far (found no timecode log beside the audio of ")
    assert [one.timecode for one in looks.told if one.event == "flaw"] == ["01:00:20:00"]


def test_a_folder_full_of_anything(tmp_path: Path) -> None:
    """What is no capture is passed over: a capture among it is followed, links and a pipe hold nothing up."""
    (tmp_path / "notes.txt").write_text("side A")
    (tmp_path / "empty.wav").touch()
    (tmp_path / "text.wav").write_text("not a capture at all")
    (tmp_path / "folder.wav").mkdir()
    (tmp_path / "gone.wav").symlink_to(tmp_path / "nowhere.wav")
    (tmp_path / "loop").symlink_to(tmp_path)
    os.mkfifo(tmp_path / "pipe.wav")
    place = tmp_path / "Ærø – côté 録音"
    place.mkdir()
    tape = make_tape(5, 2, bits=24)
    with Growing(place / "Ærø 1.wav", 2) as growing, Watch(tmp_path) as watch:
        looks = Looks(watch)
        growing.log(5.0)
        for second in range(5):
            growing.add(tape[second * RATE : (second + 1) * RATE])
            looks.look()
    recorded = [one for one in looks.told if one.event == "recording"]
    assert {one.pass_name for one in recorded} == {"Ærø 1"}
    assert recorded[-1].more["samples"] >= 4 * RATE


def test_captures_one_after_the_other(tmp_path: Path) -> None:
    """Each is followed from its start; the list is renewed when it ends."""
    tape = make_tape(6, 2, bits=24)
    with Watch(tmp_path) as watch:
        looks = Looks(watch)
        for name in ("A1", "A2", "B1"):
            (tmp_path / name).mkdir()
            with Growing(tmp_path / name / "all.wav", 2) as growing:
                growing.log(6.0)
                for second in range(6):
                    growing.add(tape[second * RATE : (second + 1) * RATE])
                    looks.look()
                growing.finish()
                for _ in range(4):
                    looks.look(2.0)
                looks.told += list(watch.finish(60.0))
    ended = [(one.pass_name, one.words) for one in looks.told if one.event == "ended"]
    assert [words for _, words in ended] == ["finished"] * 3
    assert len({name for name, _ in ended}) == 3
    reels = [len(one.more["reels"]) for one in looks.told if one.event == "retakes" and one.more["reels"]]
    assert len(reels) >= 3


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is read-only to root")
def test_a_folder_that_nobody_may_write_to(tmp_path: Path) -> None:
    """It is watched all the same."""
    with Growing(tmp_path / "A1.wav", 2) as growing:
        growing.add(make_tape(3, 2, bits=24))
        tmp_path.chmod(0o555)
        try:
            with Watch(tmp_path) as watch:
                looks = Looks(watch)
                looks.look()
        finally:
            tmp_path.chmod(0o755)
    assert looks.told
