"""Reels that follow each other closer than timecode tells, and how their places against each other are shown."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.cli.commands import run
from tests.support.sessions import HOUR, RATE, Layout, delivered, make_tape, run_json, write_log

if TYPE_CHECKING:
    from pathlib import Path

Capsys = pytest.CaptureFixture[str]

SECONDS = 5


def make_reels(folder: Path, hole: int, *, seed: int = 1, division: int = 960) -> tuple[Layout, int]:
    """Return two reels of one track whose second begins so many samples after the first ends, and their length."""
    layout = Layout(folder)
    start = HOUR
    for name in "AB":
        tape = make_tape(SECONDS, 1, seed=ord(name))
        layout.add_reel(name, ["Voice"])
        layout.add_pass(f"{name}1", name, tape, "x")
        del layout.passes[-1]["timecode"]
        log = folder / "captures" / f"{name}1" / "timecode.mid"
        write_log(log, start / RATE * 30, SECONDS, seed=10 * seed + ord(name), division=division)
        start += tape.shape[0] + hole
    return layout, SECONDS * RATE


@pytest.mark.parametrize("seed", range(6))
def test_reels_that_touch_have_no_hole_between_them(tmp_path: Path, capsys: Capsys, seed: int) -> None:
    """Reels placed by jittered logs that touch on the tape touch in the set, by a cut, and a move is told."""
    layout, length = make_reels(tmp_path, 0, seed=seed)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0, record
    assert record["length"] == 2 * length
    (track,) = record["tracks"]
    assert [(join["at"], join["law"], join["fade"]) for join in track["joins"]] == [(length, "cut", 0)]
    assert np.array_equal(
        delivered(tmp_path / "set"),
        np.concatenate((make_tape(SECONDS, 1, seed=ord("A")), make_tape(SECONDS, 1, seed=ord("B")))),
    )
    for note in record["notes"]:
        if "touches" in note["text"]:
            assert re.match(r"reel B is moved by [+-]\d samples? so that it touches reel A: ", note["text"])


def test_some_reel_that_touches_had_to_be_moved(tmp_path: Path, capsys: Capsys) -> None:
    """Among logs with a millisecond of lateness there are some that do not meet to the sample by themselves."""
    told = 0
    for seed in range(6):
        layout, _ = make_reels(tmp_path / str(seed), 0, seed=seed)
        _, record = run_json(capsys, "check", layout.write())
        told += any("touches reel A" in note["text"] for note in record["notes"])
    assert told


@pytest.mark.parametrize("hole", [60, -60])
def test_what_timecode_can_tell_stays(tmp_path: Path, capsys: Capsys, hole: int) -> None:
    """A hole or an overlap of a millisecond is told by timecode, and left as it is: silence, or a fade."""
    layout, length = make_reels(tmp_path, hole)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 0, record
    assert abs(record["length"] - (2 * length + hole)) <= 4
    assert not any("touches" in note["text"] for note in record["notes"])
    laws = [join["law"] for join in record["tracks"][0]["joins"]]
    assert laws == (["edge", "edge"] if hole > 0 else ["constant_power"])


def test_places_given_by_hand_stay(tmp_path: Path, capsys: Capsys) -> None:
    """A sheet that puts a reel one frame after another means it."""
    layout = Layout(tmp_path)
    for name, start in (("A", "01:00:00:00"), ("B", "01:00:05:01")):
        layout.add_reel(name, ["Voice"])
        layout.add_pass(f"{name}1", name, make_tape(SECONDS, 1, seed=ord(name)), start)
    _, record = run_json(capsys, "check", layout.write())
    assert record["length"] == 2 * SECONDS * RATE + 1600


def test_how_surely_reels_lie_against_each_other_is_shown(tmp_path: Path, capsys: Capsys) -> None:
    """Coarse ticks hide where both lie more than how they lie to each other: record and table tell both."""
    # 500 ticks a quarter note of half a second: one a millisecond.
    layout, _ = make_reels(tmp_path, 4800, division=500)
    _, record = run_json(capsys, "check", layout.write())
    for one in record["passes"]:
        clock = one["clock"]
        assert 0 < clock["apart_samples"] < 0.75 * clock["uncertainty_samples"]
        assert clock["apart_ms"] == pytest.approx(clock["apart_samples"] / 48, abs=1e-3)
        assert clock["uncertainty_ms"] == pytest.approx(clock["uncertainty_samples"] / 48, abs=1e-3)
        assert clock["common_samples"] == pytest.approx(24)
        assert clock["stretches"][0]["apart_samples"] == clock["apart_samples"]
    run(["check", str(layout.write())])
    table = capsys.readouterr().out.splitlines()
    head = next(number for number, line in enumerate(table) if line.startswith("Pass "))
    assert table[head].split()[-3:] == ["±", "apart", "Flaws"]
    assert table[head + 1].split()[-2] == f"{record['passes'][0]['clock']['apart_samples']:.2f}"


def list_notes(folder: Path, capsys: Capsys, foreign: int) -> list[str]:
    """Return the lines from the notes on of a check with 24 retakes, the last so many of them of another tape."""
    layout, _ = make_reels(folder, 0)
    for number in range(24):
        other = 1 if number >= 24 - foreign else 0
        layout.add_pass(f"B{number + 2}", "B", make_tape(1, 1, seed=ord("B") + other), HOUR + SECONDS * RATE)
    assert run(["check", str(layout.write())]) == 1
    out = capsys.readouterr().out.splitlines()
    return out[out.index("Questions for a person:") + 1 :]


def test_notes_that_need_a_person_are_listed_first(tmp_path: Path, capsys: Capsys) -> None:
    """However many passes have something small to tell, what a person has to look at comes before it."""
    lines = list_notes(tmp_path, capsys, 1)
    assert lines[0].startswith("  retake refused: B25 is not used")
    (alike,) = [line for line in lines[1:] if "plain F1 events" in line]
    assert all(f" {name} " in alike for name in ("A1", "B1", "B2", "B24"))


def test_a_long_list_says_where_the_rest_is(tmp_path: Path, capsys: Capsys) -> None:
    """Of more than twenty notes the first are shown, and how many more there are."""
    lines = list_notes(tmp_path, capsys, 22)
    assert all(line.startswith("  retake refused: ") for line in lines[:20])
    assert "more; --verbose lists all" in lines[20]


def test_reels_side_by_side_may_not_name_one_track(tmp_path: Path, capsys: Capsys) -> None:
    """Two machines in sync whose tracks were given the same names: a tape would be lost without a word."""
    layout = Layout(tmp_path)
    for name, begin in (("A", 0), ("B", RATE)):
        layout.add_reel(name, ["Voice", f"Own {name}"])
        layout.add_pass(f"{name}1", name, make_tape(SECONDS, 2, seed=ord(name)), HOUR + begin)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 1
    (note,) = [one for one in record["notes"] if one["needs_a_person"]]
    assert note["kind"] == "undecided"
    assert note["text"].startswith(
        "reels A and B both name Voice, and run side by side for 4.0 s with other sound"
    )
