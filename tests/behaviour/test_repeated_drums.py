"""Does the retake belong, where one track repeats itself bit for bit? Invented tapes with a drum machine on a track."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from assembler.aligner.place.search import find_anywhere
from scripts.bench.trial_sessions import ArrayAudio
from tests.support.sessions import HOUR, RATE, Layout, delivered, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

Capsys = pytest.CaptureFixture[str]
NAMES = ["Drums", "Bass", "Keys", "Voice"]
BAR = RATE


def drum_machine(count: int) -> Int32s:
    """Return one sampled stroke, again and again every bar, with digital silence between."""
    stroke = np.random.default_rng(7).standard_normal(30_000) * np.exp(-np.arange(30_000) / 8000)
    bar = np.zeros(BAR, np.int32)
    bar[:30_000] = np.round(9000 * stroke)
    return np.tile(bar, count // BAR + 1)[:count]


def song(seconds: float, seed: int = 1) -> Int32s:
    """Return a tape with the drum machine on its first track and a bass that rests for a second in every four."""
    tape = make_tape(seconds, 4, seed=seed)
    tape[:, 0] = drum_machine(tape.shape[0])
    tape[np.arange(tape.shape[0]) % (4 * RATE) < RATE, 1] = 0
    return tape


TAPE = song(10)


def session(
    folder: Path, retake: Int32s, at: int, *, flawed: tuple[int, int] = (0, 0), by_sound: bool = False
) -> Path:
    """Write a first pass of the whole tape, muted for a while, and a retake; return the sheet."""
    first = TAPE.copy()
    first[slice(*flawed)] = 0
    layout = Layout(folder)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", first, HOUR)
    if by_sound:
        layout.add_pass("A2", "A", retake, HOUR, timecode="audio")
    else:
        layout.add_pass("A2", "A", retake, HOUR + at)
    return layout.write()


def built(folder: Path, capsys: Capsys, sheet: Path) -> tuple[Int32s, dict[str, Any]]:
    """Build the set; return what was delivered, tracks in tape order, and the record."""
    _, record = run_json(capsys, "build", sheet, "-o", folder / "set")
    out = delivered(folder / "set")
    assert [track["name"] for track in record["tracks"]] == NAMES
    return out, record


def refused(record: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the notes on what is not used."""
    return [note for note in record["notes"] if note["kind"] in ("retake_refused", "track_left_out")]


@pytest.mark.parametrize(
    "retake",
    [
        TAPE[6 * RATE : 9 * RATE],
        song(10, seed=30)[RATE : 4 * RATE],
        song(10, seed=31)[RATE // 2 : 7 * RATE // 2],
    ],
    ids=["place", "song", "half_a_bar_off"],
)
def test_a_stranger_with_the_same_drums_is_not_used(tmp_path: Path, capsys: Capsys, retake: Int32s) -> None:
    """Its drums are the tape's own numbers, its other tracks are not: it is refused, and no sample comes from it.

    Also not where the right pass rests, and not where that is flawed.
    """
    flawed = (3 * RATE, 3 * RATE + 900)
    out, record = built(tmp_path, capsys, session(tmp_path, retake, RATE, flawed=flawed))
    expected = TAPE.copy()
    expected[slice(*flawed)] = 0
    assert np.array_equal(out, expected)
    (note,) = refused(record)
    assert note["pass"] == "A2"
    assert not record["passes"][1]["used"]


def test_logs_exchanged_over_drums_are_told(tmp_path: Path, capsys: Capsys) -> None:
    """By its log it lies two bars off, where the drums fit: the other tracks tell better, and where it does lie."""
    sheet = session(tmp_path, TAPE[4 * RATE : 8 * RATE], 2 * RATE)
    _, record = run_json(capsys, "check", sheet)
    (note,) = refused(record)
    assert (
        "2.000 s later: was A1's log started that much after its audio, or are the two logs" in note["text"]
    )


def test_a_pass_without_a_log_is_found_by_what_does_not_repeat() -> None:
    """Wherever it is looked at, most changes are the drums', which fit at every bar; the held levels fit at one."""
    random = np.random.default_rng(9)
    tape = TAPE[:, :3].copy()
    tape[:, 1] = tape[::-1, 0]
    tape[:, 2] = np.repeat(random.integers(-9000, 9000, tape.shape[0] // 150), 150)
    shift = 3 * BAR + 500
    retake = np.ascontiguousarray(tape[shift : shift + 4 * BAR].T)
    assert find_anywhere(ArrayAudio(np.ascontiguousarray(tape.T)), ArrayAudio(retake)) == shift


def test_a_strange_track_of_a_pass_without_a_log_is_not_used(tmp_path: Path, capsys: Capsys) -> None:
    """Its place is found by its other tracks; the one of other sound cures nothing."""
    flawed = (6 * RATE, 6 * RATE + 3000)
    retake = TAPE[4 * RATE :].copy()
    retake[:, 3] = make_tape(6, 1, seed=40)[:, 0]
    sheet = session(tmp_path, retake, 0, flawed=flawed, by_sound=True)
    out, record = built(tmp_path, capsys, sheet)
    (note,) = refused(record)
    assert note["tracks"] == [3]
    assert np.array_equal(out[:, :3], TAPE[:, :3])
    assert {span["pass"] for span in record["tracks"][3]["spans"]} == {"A1"}


def test_a_note_in_common_does_not_make_a_track_belong(tmp_path: Path, capsys: Capsys) -> None:
    """A track of other sound that has a sixteenth of its notes in common is still no capture of this one.

    It is not used where the right pass rests, nor where that is flawed.
    """
    flawed = (6 * RATE, 6 * RATE + 3000)
    retake = TAPE.copy()
    retake[:, 1] = make_tape(10, 1, seed=41)[:, 0]
    retake[2 * RATE : 2 * RATE + 20_000, 1] = TAPE[2 * RATE : 2 * RATE + 20_000, 1]
    out, record = built(tmp_path, capsys, session(tmp_path, retake, 0, flawed=flawed))
    (note,) = refused(record)
    assert note["tracks"] == [1]
    assert np.array_equal(np.delete(out, 1, axis=1), np.delete(TAPE, 1, axis=1))
    assert {span["pass"] for span in record["tracks"][1]["spans"]} == {"A1"}


@pytest.mark.parametrize("seconds", [1, 3])
def test_a_flawed_retake_that_belongs_is_used(tmp_path: Path, capsys: Capsys, seconds: int) -> None:
    """One track silent, two wrong for nearly half of it, and the drums: it belongs, and cures what it has right."""
    flawed = (5 * RATE + 2000, 5 * RATE + 5000)
    tape = TAPE.copy()
    tape[:, 1] = 0
    retake = tape[5 * RATE - 9000 : 5 * RATE - 9000 + seconds * RATE].copy()
    wrong = slice(seconds * RATE * 55 // 100, None)
    retake[wrong, 2:] = np.random.default_rng(8).integers(-9000, 9000, retake[wrong, 2:].shape)
    first = tape.copy()
    first[slice(*flawed)] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", retake, HOUR + 5 * RATE - 9000)
    out, record = built(tmp_path, capsys, layout.write())
    assert not refused(record)
    assert np.array_equal(out[slice(*flawed)], tape[slice(*flawed)])


def test_other_sound_that_is_heard_at_other_times_is_not_used(tmp_path: Path, capsys: Capsys) -> None:
    """A track that hardly ever sounds when the other pass's does, and then differently, is no capture of it."""
    flawed = (3 * RATE + 2000, 3 * RATE + 5000)
    tape, retake = TAPE[: 4 * RATE].copy(), TAPE[: 4 * RATE].copy()
    for samples, sounds, seed in (
        (tape, slice(RATE, RATE * 22 // 10), 51),
        (retake, slice(RATE * 205 // 100, RATE * 33 // 10), 52),
    ):
        samples[:, 3] = 0
        samples[sounds, 3] = make_tape(4, 1, seed=seed)[sounds, 0]
    first = tape.copy()
    first[slice(*flawed)] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", retake, HOUR)
    out, record = built(tmp_path, capsys, layout.write())
    (note,) = refused(record)
    assert note["tracks"] == [3]
    assert np.array_equal(out[:, :3], tape[:, :3])
    assert np.array_equal(out[:, 3], first[:, 3])
    assert {span["pass"] for span in record["tracks"][3]["spans"]} == {"A1"}
    assert not [one for one in record["notes"] if one["kind"] == "not_transparent"]


def three_levels(count: int, period: int) -> Int32s:
    """Return a wave that goes up from zero and down from zero in turn."""
    at = np.arange(count) % period
    return np.where(at < 10, 4000, np.where((at >= 75) & (at < 85), -4000, 0)).astype(np.int32)


def test_inverted_polarity_is_told_once(tmp_path: Path, capsys: Capsys) -> None:
    """All tracks upside down, one of them a wave whose zeros are their own opposite: one telling, and nothing else."""
    tape = TAPE[: 4 * RATE].copy()
    tape[:, 2] = three_levels(tape.shape[0], 151)
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", -tape, HOUR)
    _, record = run_json(capsys, "check", layout.write())
    (note,) = [one for one in record["notes"] if one["kind"] in ("retake_refused", "not_transparent")]
    assert note["tracks"] == [0, 1, 2, 3]
    assert "inverted polarity" in note["text"]
    assert "fix = true" in note["text"]


def test_a_wave_with_zeros_is_not_taken_for_a_track_that_rests(tmp_path: Path, capsys: Capsys) -> None:
    """Its zeros equal digital silence, which proves nothing: it is of other sound, not exchanged."""
    tape = TAPE[: 4 * RATE].copy()
    tape[:, 3] = 0
    tape[:RATE, 3] = TAPE[:RATE, 3]
    retake = tape.copy()
    at = np.arange(4 * RATE)
    tape[:, 2] = np.where(at % 211 < 40, 5000, -4000)
    retake[:, 2] = np.where((at + 97) % 211 < 60, 5000, 0)
    layout = Layout(tmp_path)
    layout.add_reel("A", NAMES)
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", retake, HOUR)
    _, record = run_json(capsys, "check", layout.write())
    assert not [one for one in record["notes"] if "exchanged" in one["text"]]
