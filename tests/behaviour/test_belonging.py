"""Does the retake belong? Wiring faults, strangers, and chains that change the numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.cli.commands import run
from tests.support.sessions import HOUR, Layout, delivered, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

Capsys = pytest.CaptureFixture[str]
NAMES = ["One", "Two", "Three", "Four"]


def session_with_retake(folder: Path, retake: Int32s, **keys: object) -> tuple[Path, Int32s]:
    """Write a first pass that is muted for a while and a retake; return the sheet and the tape."""
    tape = make_tape(4, 4)
    first = tape.copy()
    first[90000:92000] = 0
    layout = Layout(folder)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", retake, HOUR + 24000, **keys)
    return layout.write(), tape


def exchanged(tape: Int32s) -> Int32s:
    """The tape with tracks 1 and 3 exchanged."""
    return tape[24000:168000, [2, 1, 0, 3]]


def rotated(tape: Int32s) -> Int32s:
    """The tape with every track one place on."""
    return tape[24000:168000, [3, 0, 1, 2]]


def inverted(tape: Int32s) -> Int32s:
    """The tape with track 2 inverted."""
    return tape[24000:168000] * np.array([1, -1, 1, 1], np.int32)


def all_inverted(tape: Int32s) -> Int32s:
    """The tape with all tracks inverted."""
    return -tape[24000:168000]


@pytest.mark.parametrize("wrong", [exchanged, rotated, inverted, all_inverted], ids=lambda f: f.__name__)
def test_wrong_wiring_is_put_right_only_when_asked(tmp_path: Path, capsys: Capsys, wrong: object) -> None:
    """With fix = true the retake cures and the record says how; without, the wrong tracks are refused."""
    assert callable(wrong)
    retake = wrong(make_tape(4, 4))
    sheet, tape = session_with_retake(tmp_path / "fixed", retake, fix=True)
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "fixed" / "set")
    assert status == 0, record["notes"]
    assert np.array_equal(delivered(tmp_path / "fixed" / "set"), tape)
    kind = "polarity_inverted" if "inverted" in wrong.__name__ else "tracks_exchanged"
    (note,) = [note for note in record["notes"] if note["kind"] == kind]
    assert note["pass"] == "A2"
    changed = record["passes"][1]
    straight = changed["channels"] == [[0, 0], [1, 0], [2, 0], [3, 0]] and changed["polarity"] == [1, 1, 1, 1]
    assert not straight
    assert run(["verify", str(tmp_path / "fixed" / "set"), "--against", str(sheet)]) == 0
    capsys.readouterr()
    sheet, _ = session_with_retake(tmp_path / "plain", retake)
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "plain" / "set")
    assert status == 1
    refused = [note for note in record["notes"] if note["kind"] == "retake_refused"]
    assert refused
    assert all("fix = true" in note["text"] for note in refused)
    out = delivered(tmp_path / "plain" / "set")
    wrong_tracks = {track for note in refused for track in note["tracks"]}
    for track in range(4):
        cured = np.array_equal(out[:, track], tape[:, track])
        assert cured == (track not in wrong_tracks)


def test_one_strange_track_is_left_out(tmp_path: Path, capsys: Capsys) -> None:
    """A retake with one track of other sound cures the other tracks; the stranger is told and not used."""
    tape = make_tape(4, 4)
    retake = tape[24000:168000].copy()
    retake[:, 3] = make_tape(4, 1, seed=50)[24000:168000, 0]
    sheet, tape = session_with_retake(tmp_path, retake, fix=True)
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 1
    (note,) = [note for note in record["notes"] if note["kind"] == "retake_refused"]
    assert note["tracks"] == [3]
    out = delivered(tmp_path / "set")
    assert np.array_equal(out[:, :3], tape[:, :3])
    assert {span["pass"] for span in record["tracks"][3]["spans"]} == {"A1"}


def test_a_retake_from_another_place_of_the_tape_is_refused(tmp_path: Path, capsys: Capsys) -> None:
    """The right tape at the wrong place, by its timecode, is a stranger there."""
    long_tape = make_tape(12, 4)
    tape = make_tape(4, 4)
    sheet, _ = session_with_retake(tmp_path, np.ascontiguousarray(long_tape[-144000:]))
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 1
    assert {note["pass"] for note in record["notes"] if note["kind"] == "retake_refused"} == {"A2"}
    assert tape.shape == delivered(tmp_path / "set").shape
