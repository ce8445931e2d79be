"""Logs as they come: machines that stop, turn round and are wound; logs of other lengths, places and units."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from assembler.cli.commands import run
from assembler.consolidator import build_set
from assembler.errors import PublishError
from assembler.timecode import encode_quarter_stream, format_sample, frame_rate
from tests.support.sessions import HOUR, RATE, Layout, delivered, make_tape, run_json, write_wave

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assembler.arrays import Bytes, Float64s, Int32s
    from assembler.verdict.notes import Note

Capsys = pytest.CaptureFixture[str]

THIRTY = frame_rate("30")


def play(start: float, seconds: float, first_second: float) -> tuple[Float64s, Bytes]:
    """Return times and data of quarter frames: from a time in the log on, from so many seconds after 01:00:00:00."""
    count = round(seconds * 120)
    times = start + np.arange(count) / 120
    return times, encode_quarter_stream(432000 + round(first_second * 120), count, THIRTY)


def make_session(
    folder: Path, samples: Int32s, *parts: tuple[Float64s, Bytes], more: Layout | None = None
) -> Layout:
    """Return a session of one pass whose log has these parts, one after another."""
    layout = more or Layout(folder)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", samples, "x")
    del layout.passes[-1]["timecode"]
    rows = [
        f"{time:.6f},F1 {byte:02X}"
        for times, data in parts
        for time, byte in zip(times.tolist(), data.tolist(), strict=True)
    ]
    log = folder / "captures" / "A1" / "timecode.csv"
    log.write_text("\n".join(["seconds,bytes", *rows, ""]), encoding="ascii")
    return layout


def check(layout: Layout, capsys: Capsys) -> tuple[int, Any, list[str]]:
    """Return status, record, and the texts of all notes of a check."""
    status, record = run_json(capsys, "check", layout.write())
    return status, record, [note["text"] for note in record["notes"]]


def stretches(record: dict[str, Any]) -> list[tuple[float, float, float]]:
    """Return the first pass's stretches in seconds: from, to, and place after 01:00:00:00."""
    return [
        (
            round(s["pass_start"] / RATE, 3),
            round(s["pass_end"] / RATE, 3),
            round((s["timeline_start"] - HOUR) / RATE, 3),
        )
        for s in record["passes"][0]["stretches"]
    ]


def test_what_is_captured_while_the_machine_stands_is_left_out(tmp_path: Path, capsys: Capsys) -> None:
    """A machine that stops for two seconds and goes on from there: each side in its place, nothing between.

    When within the last quarter frame it stopped, no message tells: those samples are listed.
    """
    layout = make_session(tmp_path, make_tape(8, 1), play(0, 3, 0), play(5, 3, 3))
    status, record, notes = check(layout, capsys)
    assert status == 1
    assert stretches(record) == [(0, 3, 0), (5, 8, 3)]
    (place,) = record["uncured"]
    assert (place["start"], place["end"]) == (
        pytest.approx(3 * RATE - 400, abs=3),
        pytest.approx(3 * RATE, abs=3),
    )
    assert any("at 01:00:03:00 (5.00 s in): the machine stopped and started again" in text for text in notes)


def test_what_is_captured_while_the_tape_is_wound_on_is_left_out(tmp_path: Path, capsys: Capsys) -> None:
    """A machine that is wound ten seconds on in mid-pass: the wound stretch has no place."""
    layout = make_session(tmp_path, make_tape(8, 1), play(0, 3, 0), play(5, 3, 13))
    _, record, _ = check(layout, capsys)
    assert stretches(record) == [(0, 3, 0), (5, 8, 13)]
    missing = [place for place in record["uncured"] if place["kind"] != "disagreement"]
    assert sum(place["end"] - place["start"] for place in missing) == pytest.approx(10 * RATE, abs=2)


def test_reverse_motion_places_nothing(tmp_path: Path, capsys: Capsys) -> None:
    """A tape that plays, runs backwards and plays again: nothing that was captured backwards is placed.

    What was played twice is taken from the second play as soon as the first one may have ended.
    """
    there, back, again = play(0, 3, 0), play(3, 2, 1), play(5, 4, 1)
    layout = make_session(tmp_path, make_tape(9, 1), there, (back[0], back[1][::-1]), again)
    status, record, notes = check(layout, capsys)
    assert status == 0
    assert stretches(record) == [(0, 2.967, 0), (6.967, 9, 2.967)]
    assert any("A1 at 3.00 s: the tape ran backwards for 1.99 s" in text for text in notes), notes
    assert not any("came twice" in text for text in notes)
    assert any("from about 01:00:02:28 to 01:00:01:00" in text for text in notes), notes


@pytest.mark.parametrize("by_label", [True, False])
def test_a_relabelled_pass_is_not_asked_about_again(
    tmp_path: Path, capsys: Capsys, *, by_label: bool
) -> None:
    """Material of 44.1 kHz labelled 48 kHz, relabelled as told, is locked, whether or not the log follows the label."""
    tape = make_tape(5, 1, rate=44100)
    times, data = play(0, 5, 0)
    if by_label:
        times = times * 44100 / 48000
    layout = make_session(tmp_path, tape, (times, data), more=Layout(tmp_path, rate=44100))
    layout.passes[-1]["relabel"] = True
    write_wave(tmp_path / "captures" / "A1" / "01.wav", tape, 16, 48000)
    status, record, notes = check(layout, capsys)
    assert status == 0, notes
    assert record["passes"][0]["clock"]["verdict"] == "locked"
    assert record["start"]["sample"] == pytest.approx(3600 * 44100, abs=1)
    assert [note["kind"] for note in record["notes"]] == ["relabelled"]


@pytest.mark.parametrize("pause", [0, 1])
def test_a_part_played_again_is_delivered_once(tmp_path: Path, capsys: Capsys, pause: int) -> None:
    """A tape that is backed up two seconds in mid-pass and played again: the set holds the tape, sample for sample."""
    tape = make_tape(10, 1)
    still = np.zeros((pause * RATE, 1), np.int32)
    generator = np.random.default_rng(3)
    parts = [
        (times + generator.uniform(0, 1e-3, times.size), data)
        for times, data in (play(0, 5, 0), play(5 + pause, 7, 3))
    ]
    layout = make_session(tmp_path, np.concatenate((tape[: 5 * RATE], still, tape[3 * RATE :])), *parts)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0, record
    assert np.array_equal(delivered(tmp_path / "set"), tape)
    (told,) = (note["text"] for note in record["notes"] if note["kind"] == "timecode_jump")
    assert "What it played twice is used once; to use both, cut the capture there into two passes" in told


def test_a_start_before_the_audio_does_not_place_it(tmp_path: Path, capsys: Capsys) -> None:
    """What a log tells of another place before the pass's first sample does not move the pass."""
    layout = make_session(tmp_path, make_tape(5, 1), play(-6, 4, 600), play(-1, 6, 7))
    status, record, _ = check(layout, capsys)
    assert status == 0
    assert stretches(record) == [(0, 5, 8)]


def test_a_log_of_another_length_is_told(tmp_path: Path, capsys: Capsys) -> None:
    """A log that begins late and ends early places the whole pass, and both ends are told."""
    status, record, notes = check(make_session(tmp_path, make_tape(9, 1), play(2, 3, 2)), capsys)
    assert status == 0
    assert stretches(record) == [(0, 9, 0)]
    assert any("timecode begins 2.00 s in" in text for text in notes)
    assert any("timecode ends 4.01 s before the pass does" in text for text in notes)


def test_a_log_from_after_the_pass_needs_a_person(tmp_path: Path, capsys: Capsys) -> None:
    """A log that begins when the pass is over may be another pass's."""
    status, _, notes = check(make_session(tmp_path, make_tape(3, 1), play(10, 3, 10)), capsys)
    assert status == 1
    assert any("the pass lasts from 0 to 3.00 s" in text and "another pass's log?" in text for text in notes)


def test_a_tape_wound_back_before_the_beginning_needs_a_person(tmp_path: Path, capsys: Capsys) -> None:
    """What a pass plays of the time before its own beginning has no place in it: told, with what to do."""
    status, _, notes = check(make_session(tmp_path, make_tape(8, 1), play(0, 3, 60), play(4, 4, 0)), capsys)
    assert status == 1
    assert any("wound back to 01:00:00:00" in text and "into two passes" in text for text in notes)


def test_a_short_log_is_recorded(tmp_path: Path, capsys: Capsys) -> None:
    """A log too short to tell its own speed places the pass; the record leaves out what is not known."""
    status, record, notes = check(make_session(tmp_path, make_tape(2, 1), play(0, 0.2, 0)), capsys)
    assert status == 0
    assert "slope_error_ppm" not in record["passes"][0]["clock"]
    assert any(text.startswith("A1: too little timecode to tell its speed") for text in notes)
    assert not any("inf" in text for text in notes)


def test_times_in_other_units_are_refused(tmp_path: Path, capsys: Capsys) -> None:
    """Milliseconds under the header of seconds are refused in one line that says so."""
    times, data = play(0, 5, 0)
    layout = make_session(tmp_path, make_tape(5, 1), (times * 1000, data))
    assert run(["check", str(layout.write())]) == 2
    told = capsys.readouterr().err
    assert "eight messages take 66.7 s" in told
    assert "other units" in told
    assert len(told.splitlines()) == 1


@pytest.mark.parametrize("name", ["timecode.mid", "timecode.csv"])
def test_a_log_of_two_gigabytes_is_refused(tmp_path: Path, capsys: Capsys, name: str) -> None:
    """A log far larger than a tape makes is refused in one line, with its path; most of it is never read."""
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(1, 1), "x")
    del layout.passes[-1]["timecode"]
    with (tmp_path / "captures" / "A1" / name).open("wb") as stream:
        # Sparse: it takes no room on the disk.
        stream.truncate(2 * 2**30)
    assert run(["check", str(layout.write())]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert name in line
    assert "too large for the log of a tape" in line


@pytest.mark.parametrize(
    ("first_second", "status", "kind"), [(10, 1, "undecided"), (58, 0, "other")], ids=["unproved", "proved"]
)
def test_a_drop_code_against_the_sheet_needs_a_person_unless_labels_tell(
    tmp_path: Path, capsys: Capsys, first_second: int, status: int, kind: str
) -> None:
    """A rate code of drop frame under a sheet without it: a person is asked where no minute shows which is right."""
    times, _ = play(0, 5, 0)
    data = encode_quarter_stream(432000 + first_second * 120, times.size, THIRTY, 2)
    found, record, _ = check(make_session(tmp_path, make_tape(5, 1), (times, data)), capsys)
    assert found == status
    (told,) = (note for note in record["notes"] if "rate code" in note["text"])
    assert told["kind"] == kind
    assert "2 (30 drop frame), the sheet's frame_rate is 30: the sheet is followed" in told["text"]


def add_coded(layout: Layout, name: str, tape: Int32s, first_second: int) -> None:
    """Add a pass of reel A of some seconds of a tape that begins at 01:00:00:00, logged with the code of drop frame."""
    layout.add_pass(name, "A", tape, "x")
    del layout.passes[-1]["timecode"]
    count = round(tape.shape[0] / RATE * 120)
    data = encode_quarter_stream(432000 + first_second * 120, count, THIRTY, 2)
    rows = [f"{index / 120:.6f},F1 {byte:02X}" for index, byte in enumerate(data.tolist())]
    log = layout.folder / "captures" / name / "timecode.csv"
    log.write_text("\n".join(["seconds,bytes", *rows, ""]), encoding="ascii")


def test_a_short_retake_is_answered_by_the_long_pass(tmp_path: Path, capsys: Capsys) -> None:
    """Where a long pass goes over a minute, a short retake's rate code is one plain line and asks nobody."""
    tape = make_tape(64, 1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    add_coded(layout, "A1", tape, 0)
    add_coded(layout, "A2", tape[20 * RATE : 26 * RATE], 20)
    status, record, notes = check(layout, capsys)
    assert status == 0, notes
    (told,) = (note for note in record["notes"] if note["pass"] == "A2" and "rate code" in note["text"])
    assert told["kind"] == "other"
    assert told["text"].endswith(
        "the sheet is followed; A1 of the same reel bears it out, at the start of 1 minute"
    )


def add_far(layout: Layout, hours: int, reel: str = "B") -> None:
    """Add a reel of one pass that is placed this many hours after the first one."""
    layout.add_reel(reel, [f"Of {reel}"])
    layout.add_pass(f"{reel}1", reel, make_tape(3, 1, seed=hours + 5), f"{1 + hours:02}:00:00:00")


def test_a_pass_hours_away_needs_a_person(tmp_path: Path, capsys: Capsys) -> None:
    """A pass hours from all others is told first: its place, the gap, and what to do."""
    layout = Layout(tmp_path)
    for hours, reel in ((0, "A"), (5, "B"), (0, "C")):
        add_far(layout, hours, reel)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 1
    text = record["notes"][0]["text"]
    assert record["notes"][0]["pass"] == "B1"
    assert "B1 (reel B): placed at 06:00:00:00, 4 h 59 min 57 s after the rest of the session" in text
    assert "timecode_offset" in text


def test_a_pass_hours_away_is_told_before_anything_is_written(tmp_path: Path) -> None:
    """A build gives what needs a person before it writes a single track, so that it can be stopped there."""
    layout = Layout(tmp_path)
    for hours, reel in ((0, "A"), (2, "B")):
        add_far(layout, hours, reel)
    heard: list[str] = []

    def stop(notes: Sequence[Note]) -> None:
        heard.extend(note.text for note in notes)
        raise PublishError("enough heard")

    with pytest.raises(PublishError, match="enough heard"):
        build_set(layout.write(), tmp_path / "set", page=lambda _: b"", foretell=stop)
    assert heard[0].startswith("B1 (reel B): placed at 03:00:00:00")
    assert not list(tmp_path.glob("**/tracks"))
    assert not (tmp_path / "set").exists()


def test_what_needs_a_person_stands_on_standard_error_too(tmp_path: Path, capsys: Capsys) -> None:
    """The command prints what needs a person on standard error while it builds, and all of it again at the end."""
    layout = make_session(tmp_path, make_tape(3, 1), play(10, 3, 10))
    assert run(["build", str(layout.write()), "-o", str(tmp_path / "set")]) == 1
    out, err = capsys.readouterr()
    (line,) = err.splitlines()
    assert line.startswith("Needs a person: A1: its log tells timecode from 10.00 s")
    assert line.removeprefix("Needs a person: ") in out


def test_small_matters_alike_in_many_passes_are_one_line(tmp_path: Path, capsys: Capsys) -> None:
    """What is no more than a remark on each log is one line for all passes, on the page too; the record has each."""
    layout = Layout(tmp_path)
    names = [f"R{number}" for number in range(1, 9)]
    for number, reel in enumerate(names):
        layout.add_reel(reel, [f"Of {reel}"])
        layout.add_pass(f"{reel}a", reel, make_tape(3 + number / 10, 1, seed=number), HOUR)
    sheet = layout.write()
    assert run(["check", str(sheet)]) == 0
    out = capsys.readouterr().out
    (line,) = (line for line in out.splitlines() if "plain F1 events" in line)
    numbers = ", ".join(f"{name}a {360 + 12 * number}" for number, name in enumerate(names))
    words = f"quarter frames stand as plain F1 events, which the standard does not allow: {numbers}"
    assert line == f"  other: {words}"
    _, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert sum("plain F1 events" in note["text"] for note in record["notes"]) == len(names)
    page = (tmp_path / "set" / "data" / "report.html").read_text(encoding="utf-8")
    assert page.count("plain F1 events") == 1
    assert f"<td>{words}</td>" in page


def test_passes_before_the_session_are_told_as_such(tmp_path: Path, capsys: Capsys) -> None:
    """The far pass is the one with fewer beside it, also where it comes first on the timeline."""
    layout = Layout(tmp_path)
    for hours, reel in ((0, "A"), (4, "B"), (4, "C")):
        add_far(layout, hours, reel)
    _, record = run_json(capsys, "check", layout.write())
    assert "A1 (reel A): placed at 01:00:00:00, 3 h 59 min 57 s before the rest" in record["notes"][0]["text"]


def test_reels_striped_from_hour_to_hour_are_no_matter(tmp_path: Path, capsys: Capsys) -> None:
    """Reels in sequence whose stripes begin a whole hour after one another need nobody."""
    layout = Layout(tmp_path)
    for hours, reel in enumerate("ABC"):
        add_far(layout, hours, reel)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 0, record["notes"]


def test_a_sheet_with_start_and_end_has_answered(tmp_path: Path, capsys: Capsys) -> None:
    """Where the sheet says from where to where the set goes, the silence in it is meant."""
    layout = Layout(tmp_path, session={"start": "01:00:00:00", "end": "06:00:03:00"})
    for hours, reel in ((0, "A"), (5, "B")):
        add_far(layout, hours, reel)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 0, record["notes"]
    assert format_sample(record["start"]["sample"], THIRTY, RATE) == "01:00:00:00"
