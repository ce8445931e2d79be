"""What a person is told of flaws: where, what each pass has there, which pass is taken and why."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from assembler.cli.commands import run
from tests.support.sessions import HOUR, RATE, Layout, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

Capsys = pytest.CaptureFixture[str]
PUNCH = '[[punch]]\nreel = "A"\npass = "A2"\nstart = "01:00:01:20"\nend = "01:00:02:00"\n'


def session(folder: Path, *passes: Int32s, more: str = "") -> Path:
    """Write a session of one reel, each pass from its first frame on; return the sheet."""
    layout = Layout(folder, more=more)
    layout.add_reel("A", ["One", "Two"])
    for number, samples in enumerate(passes, 1):
        layout.add_pass(f"A{number}", "A", samples, HOUR)
    return layout.write()


def notes_of(record: Any, kind: str) -> list[str]:  # noqa: ANN401 - JSON
    """Return the texts of the notes of one kind."""
    return [note["text"] for note in record["notes"] if note["kind"] == kind]


def changed(tape: Int32s, start: int, end: int, values: Any) -> Int32s:  # noqa: ANN401 - what numpy takes
    """Return a tape with other samples on its first track."""
    samples = tape.copy()
    samples[start:end, 0] = values
    return samples


def test_a_lone_pass_points_at_neither_tape_nor_machine(tmp_path: Path, capsys: Capsys) -> None:
    """One pass with a mute: the mute is listed, and that nothing tells tape from machine is said."""
    tape = make_tape(4, 2)
    status, record = run_json(capsys, "check", session(tmp_path, changed(tape, 90000, 92000, 0)))
    assert status == 1
    assert not notes_of(record, "tape_suspected") + notes_of(record, "machine_suspected")
    assert any("nothing tells whether tape or machine" in text for text in notes_of(record, "other"))


def test_samples_lost_in_a_slip_are_not_tape_damage(tmp_path: Path, capsys: Capsys) -> None:
    """Two of three passes hold what the third lost: no word of the tape."""
    tape = make_tape(4, 2)
    slipped = np.delete(tape, slice(96000, 96196), axis=0)
    status, record = run_json(capsys, "check", session(tmp_path, tape, slipped, tape.copy()))
    assert status == 0
    assert not notes_of(record, "tape_suspected")
    (text,) = notes_of(record, "machine_suspected")
    assert text.startswith("reel A, A2: 1 place is flawed in this pass alone")


def test_an_uncured_place_is_listed_with_what_each_pass_has(tmp_path: Path, capsys: Capsys) -> None:
    """Reel, track, timecode in and out, kind, and each pass: printed, and in the record."""
    tape = make_tape(4, 2)
    noise = np.random.default_rng(2).integers(-20000, 20000, 2000)
    passes = changed(tape, 90000, 92000, 0), changed(tape, 90000, 92000, noise), tape[:48000]
    sheet = session(tmp_path, *passes)
    status, record = run_json(capsys, "check", sheet)
    assert status == 1
    (place,) = record["uncured"]
    assert (place["timecode"], place["timecode_end"]) == ("01:00:01:26", "01:00:01:27")
    assert [(one["pass"], one["kind"], one["taken"]) for one in place["passes"]] == [
        ("A1", "mute", True),
        ("A2", "burst", False),
        ("A3", "missing", False),
    ]
    (text,) = notes_of(record, "tape_suspected")
    assert text.startswith(
        "01:00:01:26+400 to 01:00:01:27+800, reel A, One: mute of 2000 samples in A1, burst of"
    )
    assert run(["check", str(sheet)]) == 1
    printed = capsys.readouterr().out
    line = next(row for row in printed.splitlines() if "A1 (taken): mute" in row)
    assert "01:00:01:26+400 to 01:00:01:27+800, reel A, One: mute, 2000 samples" in line
    assert re.search(r"A2: burst, peak -\d\.\d dBFS, 2000 samples unlike A1, .* LSB .*; A3: nothing\)", line)


def test_places_that_one_flaw_spans_are_told_once(tmp_path: Path, capsys: Capsys) -> None:
    """Two mutes in one pass, one long burst over both in the other: one place of the tape."""
    tape = make_tape(4, 2)
    first = changed(changed(tape, 90000, 92000, 0), 98000, 100000, 0)
    noise = np.random.default_rng(2).integers(-20000, 20000, 12000)
    _, record = run_json(capsys, "check", session(tmp_path, first, changed(tape, 89000, 101000, noise)))
    (text,) = notes_of(record, "tape_suspected")
    assert "mute of 2000 samples in A1, burst of" in text


UNTELLABLE = 7
"""So small a difference, in steps, of one stretch of sound that nothing tells which version is right."""


def test_an_undecided_place_names_the_pass_that_is_taken(tmp_path: Path, capsys: Capsys) -> None:
    """By trust, by a punch, by a plan: the note says which pass is in the set, and why; nothing there is cured."""
    tape = make_tape(4, 2)
    passes = tape, changed(tape, 90000, 90300, tape[90000:90300, 0] + UNTELLABLE)
    plain = session(tmp_path / "plain", *passes)
    status, record = run_json(capsys, "check", plain)
    assert status == 1
    (text,) = notes_of(record, "undecided")
    assert text.startswith(
        "01:00:01:26+400 to 01:00:01:26+700, reel A, One: A1 and A2 differ for 300 samples"
    )
    assert "A1 is taken, as the most trusted" in text
    (note,) = [note for note in record["notes"] if note["kind"] == "undecided"]
    assert [(one["pass"], one["taken"]) for one in note["passes"]] == [("A1", True), ("A2", False)]
    assert [one["cured"] for one in record["passes"][1]["flaws"]] == [False]
    assert not notes_of(record, "machine_suspected")
    _, record = run_json(capsys, "check", session(tmp_path / "punched", *passes, more=PUNCH))
    assert "A2 is taken, by a punch" in notes_of(record, "undecided")[0]
    plan = tmp_path / "plan.toml"
    take = '[[track]]\nname = "{}"\ntake = [{{ at = "01:00:00:00", pass = "A2" }}]\n'
    plan.write_text("format = 1\n" + take.format("One") + take.format("Two"))
    _, record = run_json(capsys, "build", plain, "--plan", plan, "-o", tmp_path / "set")
    assert "A2 is taken, by the plan" in notes_of(record, "undecided")[0]
    page = (tmp_path / "set" / "data" / "report.html").read_text()
    assert "Needs a person" in page
    assert "A1: peak" in page


def test_a_flaw_that_a_punch_brings_in_is_told_once_with_its_place(tmp_path: Path, capsys: Capsys) -> None:
    """Both tracks muted: one line, with the tracks and the timecode of the mute."""
    tape = make_tape(4, 2)
    muted = tape.copy()
    muted[90000:92000] = 0
    _, record = run_json(capsys, "check", session(tmp_path, tape, muted, more=PUNCH))
    (text,) = [text for text in notes_of(record, "other") if "punch" in text]
    assert text == (
        "punch 01:00:01:20 to 01:00:02:00, reel A: brings in a mute of A2, 2000 samples on One, Two, "
        "01:00:01:26+400 to 01:00:01:27+800"
    )


@pytest.mark.parametrize("level", [0, 500])
def test_a_tape_that_holds_one_value_is_no_sign_of_its_chain(
    tmp_path: Path, capsys: Capsys, level: int
) -> None:
    """Silence, or a constant, in two passes alike proves no place and no fault; nor does a mute in one of them."""
    tape = np.full((4 * RATE, 2), level, np.int32)
    for number, second in enumerate((tape, changed(tape, 90000, 92000, 0))):
        status, record = run_json(capsys, "check", session(tmp_path / str(number), tape, second))
        assert status == 0, record["notes"]
        assert not notes_of(record, "not_transparent")
        # By their logs the passes lie together to a sample or two.
        assert abs(record["length"] - 4 * RATE) <= 2


@pytest.mark.parametrize("samples", [1, 300])
def test_a_short_retake_is_no_sign_of_its_chain(tmp_path: Path, capsys: Capsys, samples: int) -> None:
    """A retake of a few samples that differ is a difference to decide, not a chain that changes numbers."""
    tape = make_tape(4, 2)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    layout.add_pass("A2", "A", tape[RATE : RATE + samples] + 1, "01:00:01:00")
    status, record = run_json(capsys, "check", layout.write())
    assert status == 1
    assert not notes_of(record, "not_transparent")
    assert len(notes_of(record, "undecided")) == 2


def test_a_burst_on_a_silent_track_does_not_make_the_others_dead(tmp_path: Path, capsys: Capsys) -> None:
    """A track of zeros with a hundred loud samples in one pass: that place is told, not the whole track."""
    tape = np.zeros((4 * RATE, 2), np.int32)
    _, record = run_json(capsys, "check", session(tmp_path, tape, changed(tape, 9000, 9100, 3000)))
    assert max(flaw["end"] - flaw["start"] for one in record["passes"] for flaw in one["flaws"]) <= 100
