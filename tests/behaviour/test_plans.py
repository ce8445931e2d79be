"""The plan as a person's: written, changed, built with."""

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


def flawed_session(folder: Path) -> tuple[Path, Int32s, Int32s]:
    """Write a reel in two passes, the first muted for a while; return sheet, tape and first pass."""
    tape = make_tape(4, 2)
    first = tape.copy()
    first[90000:92000, 0] = 0
    layout = Layout(folder)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", first, "01:00:00:00")
    layout.add_pass("A2", "A", tape[48000:144000], HOUR + 48000)
    return layout.write(), tape, first


def test_an_unchanged_plan_builds_the_same_edit(tmp_path: Path, capsys: Capsys) -> None:
    """What plan writes gives, unchanged, the very spans and joins that build makes by itself."""
    sheet, tape, _ = flawed_session(tmp_path)
    assert run(["plan", str(sheet), "-o", str(tmp_path / "plan.toml")]) == 0
    capsys.readouterr()
    _, own = run_json(capsys, "build", sheet, "-o", tmp_path / "own")
    status, hand = run_json(capsys, "build", sheet, "--plan", tmp_path / "plan.toml", "-o", tmp_path / "hand")
    assert status == 0
    for before, after in zip(own["tracks"], hand["tracks"], strict=True):
        assert (before["spans"], before["joins"]) == (after["spans"], after["joins"])
    assert np.array_equal(delivered(tmp_path / "hand"), tape)
    assert not [note for note in hand["notes"] if "a person's" in note["text"]]


def test_tracks_that_nobody_changed_stay_to_the_bit(tmp_path: Path, capsys: Capsys) -> None:
    """One track is edited; the other, with a fade of its own and a cut, keeps its spans, its joins and its samples."""
    tape = make_tape(6, 2)
    other = make_tape(6, 1, seed=9)
    layout = Layout(
        tmp_path,
        more='[[reel]]\nname = "B"\ntracks = ["Two"]\n'
        '[[punch]]\nreel = "A"\npass = "A2"\nstart = "01:00:01:00"\nend = "01:00:02:00"\ntracks = ["Two"]\n'
        "fade_ms = 0\n",
    )
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    layout.add_pass("A2", "A", tape + np.array([[0, 5]], np.int32), "01:00:00:00")
    layout.add_pass("B1", "B", other, "01:00:05:15")
    sheet = layout.write()
    plan = tmp_path / "plan.toml"
    run(["plan", str(sheet), "-o", str(plan)])
    text = plan.read_text(encoding="utf-8")
    head, one, two = text.split("[[track]]")
    assert 'name = "One"' in one
    changed = one.replace('pass = "A1"},', 'pass = "A1"}, { at = "01:00:03:00", pass = "A2" },')
    plan.write_text(f"{head}[[track]]{changed}[[track]]{two}", encoding="utf-8")
    capsys.readouterr()
    _, own = run_json(capsys, "build", sheet, "-o", tmp_path / "own")
    _, hand = run_json(capsys, "build", sheet, "--plan", plan, "-o", tmp_path / "hand")
    assert not isinstance(own, str), own
    assert not isinstance(hand, str), hand
    before, after = (next(t for t in each["tracks"] if t["name"] == "Two") for each in (own, hand))
    assert [join["law"] for join in before["joins"]]
    assert (before["spans"], before["joins"]) == (after["spans"], after["joins"])
    assert before["audio_sha256"] == after["audio_sha256"]
    changed_track = next(t for t in hand["tracks"] if t["name"] == "One")
    assert [span["pass"] for span in changed_track["spans"]][:2] == ["A1", "A2"]


def test_takes_carry_their_reason(tmp_path: Path, capsys: Capsys) -> None:
    """Beside each take stands what is wrong in the passes that are trusted more."""
    sheet, _, _ = flawed_session(tmp_path)
    assert run(["plan", str(sheet)]) == 0
    lines = [
        line.strip() for line in capsys.readouterr().out.splitlines() if "pass =" in line and "{" in line
    ]
    told = [line.partition("# ")[2] for line in lines]
    assert told == ["", "A1: mute", "", ""]


def test_a_flaw_is_listed_as_far_as_a_fade_reaches_into_it(tmp_path: Path, capsys: Capsys) -> None:
    """A take may end within a mute: what the fade still mixes of it is wrong, and listed."""
    sheet, tape, _ = flawed_session(tmp_path)
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'format = 1\n[[track]]\nname = "One"\ntake = [{ at = "01:00:00:00", pass = "A1" },\n'
        '  { at = "01:00:01:26+1000", pass = "A2", fade = 400 },\n'
        '  { at = "01:00:02:20", pass = "A1" }]\n' + TWO
    )
    _, record = run_json(capsys, "build", sheet, "--plan", plan, "-o", tmp_path / "set")
    wrong = np.flatnonzero(delivered(tmp_path / "set")[:, 0] != tape[:, 0])
    (place,) = record["uncured"]
    assert place["start"] <= wrong[0]
    assert wrong[-1] < place["end"] <= 90_600 + 200 + 1000


def test_a_changed_plan_is_followed_and_its_flaws_told(tmp_path: Path, capsys: Capsys) -> None:
    """A person may keep a flaw: it is delivered as the plan says, and listed as uncured."""
    sheet, _, first = flawed_session(tmp_path)
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'format = 1\n[[track]]\nname = "One"\ntake = [{ at = "01:00:00:00", pass = "A1" }]\n'
        '[[track]]\nname = "Two"\ntake = [{ at = "01:00:00:00", pass = "A1" },\n'
        '  { at = "01:00:02:00+5", pass = "A2" }, { at = "01:00:02:15", pass = "" }]\n'
    )
    status, record = run_json(capsys, "build", sheet, "--plan", plan, "-o", tmp_path / "set")
    assert status == 1
    assert np.array_equal(delivered(tmp_path / "set")[:, 0], first[:, 0])
    assert [(place["track"], place["kind"]) for place in record["uncured"]] == [
        ("One", "mute"),
        ("Two", "missing"),
    ]
    spans = [(span["start"], span["end"], span["pass"]) for span in record["tracks"][1]["spans"]]
    assert spans == [(0, 96005, "A1"), (96005, 120000, "A2"), (120000, 192000, None)]
    assert run(["verify", str(tmp_path / "set"), "--against", str(sheet)]) == 0


ONE = '[[track]]\nname = "One"\ntake = [{ at = "01:00:00:00", pass = "A1" }]\n'
TWO = '[[track]]\nname = "Two"\ntake = [{ at = "01:00:00:00", pass = "A1" }]\n'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("format = 2\n" + ONE + TWO, ["format", "found 2"]),
        ("format = 1\n" + ONE, ["Two"]),
        ("format = 1\n" + ONE + TWO.replace("Two", "Tow"), ["track[2].name", "Tow"]),
        (
            "format = 1\n" + ONE + TWO.replace("A1", "Q9"),
            ["track[2].take[1].pass", "Q9", "A2", "01:00:00:00"],
        ),
        ("format = 1\n" + ONE + TWO.replace("01:00:00:00", "01:00:00:30"), ["track[2].take[1].at"]),
        ("format = 1\n" + ONE + TWO.replace("01:00:00:00", "one o'clock"), ["track[2].take[1].at"]),
        (
            "format = 1\n" + ONE + TWO.replace("A1", "A2"),
            [
                "track[2].take[1].pass: track Two, reel A: the take at 01:00:00:00 is from A2",
                'A2 has nothing from 01:00:00:00 to 01:00:01:00; allowed there: "" for silence, "A1"',
            ],
        ),
        (
            "format = 1\n" + ONE + TWO.replace("pass", "passs"),
            ['track[2].take[1].pass: track "Two", at "01:00:00:00": missing; allowed: the name of a pass'],
        ),
        (
            "format = 1\n" + ONE + TWO.replace("pass =", "level = 1, pass ="),
            ["track[2].take[1].level", "unknown key; allowed: at, pass, fade, woven"],
        ),
        (
            "format = 1\n" + ONE + TWO.replace("pass =", "fade = -1, pass ="),
            ['at "01:00:00:00": found -1; allowed: whole samples from 0'],
        ),
        (
            "format = 1\n" + ONE + TWO.replace("pass =", "woven = 1, pass ="),
            ['at "01:00:00:00": found 1; allowed: true or false'],
        ),
        ("format = 1\n" + ONE + TWO.replace('"A1"', "7"), ["found 7; allowed: the name of a pass"]),
        ("format = 1\n" + ONE + '[[track]]\nname = "Two"\ntake = []\n', ['track "Two": found an empty list']),
        ("track = 3\nformat = 1\n", ["track: found 3; allowed: a [[track]] table"]),
        ("format = 1\n[[track]\n", ["not valid TOML"]),
        (
            "format = 1\n" + ONE + TWO.replace("}]", '}, { at = "00:59:59:00", pass = "" }]'),
            ["track[2].take[2].at", "order"],
        ),
        (
            "format = 1\n" + ONE + TWO.replace("}]", '}, { at = "01:00:50:00", pass = "A1" }]'),
            ["track[2].take[2].at: track Two: found a take at 01:00:50:00", "ends, at 01:00:04:00"],
        ),
    ],
)
def test_a_plan_that_does_not_fit_is_told(
    tmp_path: Path, capsys: Capsys, text: str, words: list[str]
) -> None:
    """A mistake in a plan names the file, the key and what is allowed; status 2, nothing written."""
    sheet, _, _ = flawed_session(tmp_path)
    plan = tmp_path / "plan.toml"
    plan.write_text(text)
    assert run(["build", str(sheet), "--plan", str(plan), "-o", str(tmp_path / "set")]) == 2
    told = capsys.readouterr().err
    assert len(told.splitlines()) <= 2
    for word in ["plan.toml", *words]:
        assert word in told, told
    for library_word in ("field required", "should be", "extra inputs", "sample "):
        assert library_word not in told
    assert not (tmp_path / "set").exists()
