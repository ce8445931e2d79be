"""Does the retake belong? Wiring faults, strangers, and chains that change the numbers."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.cli.commands import run
from tests.support.sessions import HOUR, Layout, delivered, make_tape, run_json

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assembler.arrays import Int32s

Capsys = pytest.CaptureFixture[str]
NAMES = ["One", "Two", "Three", "Four"]


def session_with_retake(folder: Path, retake: Int32s, *, fix: bool = False) -> tuple[Path, Int32s]:
    """Write a first pass that is muted for a while and a retake; return the sheet and the tape."""
    tape = make_tape(4, 4)
    first = tape.copy()
    first[90000:92000] = 0
    layout = Layout(folder)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", retake, HOUR + 24000, fix=fix)
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


@pytest.mark.parametrize(
    ("wrong", "kind"),
    [
        (exchanged, "tracks_exchanged"),
        (rotated, "tracks_exchanged"),
        (inverted, "polarity_inverted"),
        (all_inverted, "polarity_inverted"),
    ],
)
def test_wrong_wiring_is_put_right_only_when_asked(
    tmp_path: Path, capsys: Capsys, wrong: Callable[[Int32s], Int32s], kind: str
) -> None:
    """With fix = true the retake cures and the record says how; without, the wrong tracks are refused."""
    retake = wrong(make_tape(4, 4))
    sheet, tape = session_with_retake(tmp_path / "fixed", retake, fix=True)
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "fixed" / "set")
    assert status == 0, record["notes"]
    assert np.array_equal(delivered(tmp_path / "fixed" / "set"), tape)
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
    refused = [note for note in record["notes"] if note["kind"] in ("retake_refused", "track_left_out")]
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
    (note,) = [note for note in record["notes"] if note["needs_a_person"]]
    assert note["kind"] == "track_left_out"
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
    assert {
        note["pass"] for note in record["notes"] if note["kind"] in ("retake_refused", "track_left_out")
    } == {"A2"}
    assert tape.shape == delivered(tmp_path / "set").shape


def resampled(tape: Int32s) -> Int32s:
    """The tape 0.3 sample late, by a linear phase shift of each whole track."""
    spectrum = np.fft.rfft(tape, axis=0)
    turn = np.exp(-1j * np.linspace(0, np.pi, spectrum.shape[0]) * 0.3)
    return np.round(np.fft.irfft(spectrum * turn[:, None], tape.shape[0], axis=0)).astype(np.int32)


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        (lambda tape: np.round(tape * 0.5).astype(np.int32), "level_differs", "-6.02 dB"),
        (lambda tape: np.round(tape * 10 ** (-0.3 / 20)).astype(np.int32), "level_differs", "-0.30 dB"),
        (resampled, "not_transparent", "+0.30 sample"),
        (lambda tape: tape & ~15, "not_transparent", "lowest 4 bits"),
        (
            lambda tape: tape + np.random.default_rng(1).integers(-4, 5, tape.shape),
            "not_transparent",
            "dither",
        ),
    ],
    ids=["level", "little_level", "fraction", "truncated", "dithered"],
)
@pytest.mark.parametrize("tracks", [[0, 1], [1]], ids=["all", "one"])
def test_a_chain_that_changes_numbers_is_named(
    tmp_path: Path,
    capsys: Capsys,
    change: Callable[[Int32s], Int32s],
    kind: str,
    words: str,
    tracks: list[int],
) -> None:
    """A retake at another level, off the sample grid, cut to fewer bits or dithered is told as what it is, once.

    On all tracks or on one alone; which of two chains is to blame nothing tells, so a person is asked.
    """
    tape = make_tape(4, 2)
    retake = tape.copy()
    retake[:, tracks] = change(tape[:, tracks])
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", retake, HOUR)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 1
    (note,) = [note for note in record["notes"] if note["kind"] in ("level_differs", "not_transparent")]
    assert (note["kind"], note["pass"], note["tracks"]) == (kind, "A2", tracks)
    assert words in note["text"]
    assert re.search(r"by at most \d+ LSB \(-\d+\.\d dBFS\): one of the two capture chains", note["text"])
    assert not [note for note in record["notes"] if note["kind"] in ("retake_refused", "track_left_out")]


def test_two_passes_that_agree_bear_out_which_chain_is_wrong(tmp_path: Path, capsys: Capsys) -> None:
    """The most trusted of three passes is at another level: it is named, not used, and no flaw as long as the tape."""
    tape = make_tape(4, 2)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", np.round(tape * 0.5).astype(np.int32), HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    layout.add_pass("A3", "A", tape, HOUR)
    _, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert np.array_equal(delivered(tmp_path / "set"), tape)
    (note,) = [note for note in record["notes"] if note["kind"] == "level_differs"]
    assert note["pass"] == "A1"
    assert "A1's capture chain is not bit-transparent" in note["text"]
    assert record["passes"][0]["flaws"] == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            lambda track: np.roll(track, 2000),
            "lies 2000 samples later than the pass's other tracks; not used",
        ),
        (lambda track: np.round(track * -0.5), "polarity is inverted and its level is -6.02 dB off"),
    ],
    ids=["place", "inverted"],
)
def test_a_single_track_out_of_place_is_named(
    tmp_path: Path, capsys: Capsys, change: Callable[[Int32s], Int32s], words: str
) -> None:
    """One track late against the others, or upside down at another level, is not used and told as what it is."""
    tape = make_tape(4, 4)
    retake = tape.copy()
    retake[:, 2] = change(tape[:, 2])
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", retake, HOUR)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 1
    (note,) = [note for note in record["notes"] if note["kind"] in ("retake_refused", "track_left_out")]
    assert note["tracks"] == [2]
    assert words in note["text"]


def test_an_inverted_retake_at_another_level_is_named(tmp_path: Path, capsys: Capsys) -> None:
    """Polarity and level on all tracks: refused, with both."""
    tape = make_tape(4, 2)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", np.round(tape * -0.5).astype(np.int32), HOUR)
    _, record = run_json(capsys, "check", layout.write())
    (note,) = [note for note in record["notes"] if note["kind"] in ("retake_refused", "track_left_out")]
    assert "inverted polarity" in note["text"]
    assert "-6.02 dB" in note["text"]


def test_exchanged_logs_are_suspected(tmp_path: Path, capsys: Capsys) -> None:
    """When two passes have each other's log, the refusal says where the sound really is."""
    tape = make_tape(10, 1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape[:384000], HOUR)
    layout.add_pass("A2", "A", tape[96000:], HOUR + 96000)
    sheet = layout.write()
    logs = [tmp_path / "captures" / name / "timecode.mid" for name in ("A1", "A2")]
    first, second = (log.read_bytes() for log in logs)
    logs[0].write_bytes(second)
    logs[1].write_bytes(first)
    status, record = run_json(capsys, "check", sheet)
    assert status == 1
    (note,) = [note for note in record["notes"] if note["kind"] in ("retake_refused", "track_left_out")]
    assert "4.000 s" in note["text"]
    # A recorder of the log that was started late is the likelier mistake, and is asked for first.
    late, _, exchanged = note["text"].partition("log started that much after its audio")
    assert "exchanged" not in late
    assert "logs exchanged?" in exchanged


def test_a_log_that_sound_contradicts_is_told(tmp_path: Path, capsys: Capsys) -> None:
    """A log half a second off is overruled by the sound, and told as something a person has to look at."""
    tape = make_tape(6, 1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", tape[48000:], HOUR + 72000)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 1
    (note,) = [note for note in record["notes"] if note["kind"] == "undecided"]
    assert "0.500 s earlier" in note["text"]
    assert record["passes"][1]["stretches"][0]["timeline_start"] - record["start"]["sample"] == 48000
