"""Linear timecode as a position: a stripe beside the tracks, or on one of the tape's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.cli.commands import run
from assembler.timecode import frame_rate, parse_label
from assembler.timecode.ltc import encode_ltc
from tests.support.sessions import HOUR, RATE, Layout, delivered, make_tape, run_json, write_wave

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

Capsys = pytest.CaptureFixture[str]


def stripe(seconds: float, first_frame: int) -> Int32s:
    """A stripe at 30 frames a second whose first sample is the beginning of a frame; 16 bit, with noise."""
    sound = encode_ltc(first_frame, round(seconds * 30), frame_rate("30"), RATE)
    noise = np.random.default_rng(2).standard_normal(sound.size) * 30
    return np.round(sound * 20000 + noise).astype(np.int32)


def test_a_stripe_beside_the_tracks_places_the_pass(tmp_path: Path, capsys: Capsys) -> None:
    """A recording of the timecode signal beside the audio puts the pass on its sample."""
    tape = make_tape(4, 1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, "x", timecode={"ltc": "captures/A1/stripe/ltc.wav"})
    code = stripe(5, 30 * 3600)
    # The capture begins 1000 samples into the first frame.
    write_wave(tmp_path / "captures" / "A1" / "stripe" / "ltc.wav", code[1000 : 1000 + tape.shape[0]], 16)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0, record
    assert record["passes"][0]["clock"]["source"] == "ltc"
    assert abs(record["start"]["sample"] - (HOUR + 1000)) <= 1
    assert np.array_equal(delivered(tmp_path / "set"), tape)


@pytest.mark.parametrize("wanted", [False, True])
def test_a_stripe_on_a_track_is_delivered_only_when_asked(
    tmp_path: Path, capsys: Capsys, *, wanted: bool
) -> None:
    """A tape track that carries timecode places the pass and is no track of the set unless the sheet says so."""
    tape = np.column_stack((make_tape(4, 1)[:, 0], stripe(4, 30 * 7200)))
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Timecode"])
    layout.add_pass("A1", "A", tape, "x", timecode={"ltc_track": 2})
    if wanted:
        layout.more = "[deliver]\ntimecode_tracks = true\n"
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0, record
    assert record["start"]["sample"] == 2 * HOUR
    assert [track["name"] for track in record["tracks"]] == ["One", "Timecode"][: 1 + wanted]
    assert np.array_equal(delivered(tmp_path / "set"), tape[:, : 1 + wanted])
    told = [note["text"] for note in record["notes"] if "not delivered" in note["text"]]
    assert [text[:35] for text in told] == ["reel A: Timecode (track 2) carries "] * (not wanted)


@pytest.mark.parametrize("wanted", [False, True])
def test_passes_that_name_different_stripes_need_a_person(
    tmp_path: Path, capsys: Capsys, *, wanted: bool
) -> None:
    """Where passes of a tape name different tracks as its timecode, no track goes missing without a question."""
    sound, code = make_tape(4, 1)[:, 0], stripe(4, 30 * 7200)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two", "Timecode"])
    layout.add_pass("A1", "A", np.column_stack((sound, sound[::-1], code)), "x", timecode={"ltc_track": 3})
    layout.add_pass(
        "A2", "A", np.column_stack((code, sound[::-1], sound)), "x", timecode={"ltc_track": 1}, fix=True
    )
    if wanted:
        layout.more = "[deliver]\ntimecode_tracks = true\n"
    status, record = run_json(capsys, "check", layout.write())
    told = [note["text"] for note in record["notes"] if note["kind"] == "undecided"]
    assert (status, len(told)) == ((0, 0) if wanted else (1, 1))
    if not wanted:
        assert "(A1 3, A2 1), so One (track 1), Timecode (track 3) are not delivered" in told[0]


def test_a_tape_of_timecode_alone_is_told_as_such(tmp_path: Path, capsys: Capsys) -> None:
    """A reel whose only named track carries the timecode leaves nothing to deliver, and the way out is told."""
    layout = Layout(tmp_path)
    layout.add_reel("A", ["Timecode", ""])
    tape = np.column_stack((stripe(4, 30 * 7200), make_tape(4, 1)[:, 0]))
    layout.add_pass("A1", "A", tape, "x", timecode={"ltc_track": 1})
    assert run(["check", str(layout.write())]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "no track is left to deliver" in line
    assert "timecode_tracks = true" in line


@pytest.mark.parametrize(("sheet", "striped"), [("29.97", "29.97df"), ("29.97df", "29.97")])
def test_a_drop_flag_against_the_sheet_needs_a_person(
    tmp_path: Path, capsys: Capsys, sheet: str, striped: str
) -> None:
    """A stripe whose drop-frame flag contradicts the sheet is placed by the sheet; told with both, and asked about."""
    tape = make_tape(4, 1)
    layout = Layout(tmp_path, frame_rate=sheet)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, "x", timecode={"ltc": "captures/A1/stripe/ltc.wav"})
    # From 01:00:10:00 on, where no label is left out for some while: only the flag differs.
    by_sheet, by_stripe = (parse_label("01:00:10:00", frame_rate(name)) for name in (sheet, striped))
    sound = encode_ltc(by_stripe, 118, frame_rate(striped), RATE)
    code = np.round(sound * 20000).astype(np.int32)
    write_wave(tmp_path / "captures" / "A1" / "stripe" / "ltc.wav", code, 16)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 1
    assert record["start"]["sample"] == pytest.approx(by_sheet * 1001 / 30000 * RATE, abs=1)
    (told,) = (note for note in record["notes"] if note["kind"] == "undecided")
    state = "set" if striped == "29.97df" else "not set"
    assert (
        f"the drop-frame flag is {state}, the sheet's frame_rate is {sheet}: the sheet is followed"
        in told["text"]
    )
    assert told["pass"] == "A1"


def test_a_stripe_without_timecode_is_told(tmp_path: Path, capsys: Capsys) -> None:
    """Music where a stripe is expected gives one or two plain lines, status 2, nothing written."""
    tape = make_tape(3, 2)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, "x", timecode={"ltc_track": 2})
    assert run(["build", str(layout.write()), "-o", str(tmp_path / "set")]) == 2
    told = capsys.readouterr().err
    assert "02.wav" in told
    assert "timecode" in told
    assert len(told.splitlines()) <= 2
    assert not (tmp_path / "set").exists()


def label_stripe(folder: Path, stripe_rate: int, *, relabel: bool, pass_rate: int = RATE) -> Layout:
    """A session whose pass and stripe hold samples of 48 kHz, whatever their headers say."""
    tape = make_tape(4, 1)
    layout = Layout(folder)
    layout.add_reel("A", ["One"])
    where = "captures/A1/stripe/ltc.wav"
    layout.add_pass("A1", "A", tape, "x", timecode={"ltc": where}, relabel=relabel)
    write_wave(folder / "captures" / "A1" / "01.wav", tape, 16, pass_rate)
    write_wave(folder / where, stripe(4, 30 * 3600), 16, stripe_rate)
    return layout


@pytest.mark.parametrize("header", [44100, 96000])
def test_a_stripe_file_with_a_header_of_its_own_is_told(tmp_path: Path, capsys: Capsys, header: int) -> None:
    """A stripe whose header alone is wrong is told with both rates and what to set; a person is asked."""
    status, record = run_json(capsys, "check", label_stripe(tmp_path, header, relabel=False).write())
    assert status == 1
    assert record["start"]["sample"] == pytest.approx(HOUR, abs=1)
    (told,) = (note for note in record["notes"] if note["kind"] == "not_clocked")
    assert f"the header of ltc.wav says {header} Hz, the sheet 48000 Hz" in told["text"]
    assert "set relabel = true on the pass" in told["text"]


@pytest.mark.parametrize("header", [44100, 96000])
@pytest.mark.parametrize("pass_rate", [48000, 44100])
def test_a_stripe_file_is_relabelled_as_asked(
    tmp_path: Path, capsys: Capsys, header: int, pass_rate: int
) -> None:
    """With relabel the stripe's samples are taken at the sheet's rate, and that is recorded."""
    layout = label_stripe(tmp_path, header, relabel=True, pass_rate=pass_rate)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 0, record["notes"]
    assert record["passes"][0]["clock"]["verdict"] == "locked"
    told = [note["text"] for note in record["notes"] if note["kind"] == "relabelled"]
    assert (f"A1: header says {pass_rate} Hz; samples taken as 48000 Hz as the sheet asks" in told) == (
        pass_rate != 48000
    )
    assert ("A1: the header of ltc.wav says" in " ".join(told)) == (header != pass_rate)


def test_a_stripe_of_another_rate_is_not_relabelled(tmp_path: Path, capsys: Capsys) -> None:
    """A stripe that was recorded at another rate, and says so, stays as it is though its pass is relabelled."""
    layout = label_stripe(tmp_path, 96000, relabel=True, pass_rate=44100)
    sound = encode_ltc(30 * 3600, 120, frame_rate("30"), 96000)
    write_wave(tmp_path / "captures/A1/stripe/ltc.wav", np.round(sound * 20000).astype(np.int32), 16, 96000)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 0, record["notes"]
    assert record["passes"][0]["clock"]["verdict"] == "locked"
    assert [note["text"][:32] for note in record["notes"]] == ["A1: header says 44100 Hz; sample"]


def test_a_stripe_of_too_low_a_rate_is_named(tmp_path: Path, capsys: Capsys) -> None:
    """A stripe at a rate that cannot carry timecode is refused with its path, what was found and what is needed."""
    layout = label_stripe(tmp_path, 8000, relabel=False)
    assert run(["check", str(layout.write())]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert (
        "captures/A1/stripe/ltc.wav: sample rate 8000; linear timecode of 30 frames needs 19200 or more"
        in line
    )
