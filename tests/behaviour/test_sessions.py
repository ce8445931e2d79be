"""Sessions as engineers have them: retakes, reel changes, punches, slips, odd positions, strangers."""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from assembler.timecode import encode_quarter_stream, frame_rate, quarter_messages, write_midi_log
from tests.support.sessions import HOUR, RATE, Layout, delivered, make_tape, run_json, write_wave

if TYPE_CHECKING:
    from pathlib import Path

Capsys = pytest.CaptureFixture[str]


def test_three_passes_settle_by_majority(tmp_path: Path, capsys: Capsys) -> None:
    """Where three passes differ two against one are right, whatever the flaw looks like."""
    tape = make_tape(4, 2)
    takes = [tape.copy() for _ in range(3)]
    random = np.random.default_rng(5)
    for index, take in enumerate(takes):
        for place in range(20000 + index * 3000, 180000, 17000):
            size = int(random.integers(1, 200))
            take[place : place + size, index % 2] += random.integers(-3, 4, size).astype(np.int32)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    for index, take in enumerate(takes):
        layout.add_pass(f"A{index + 1}", "A", take, HOUR)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0, record["notes"]
    assert np.array_equal(delivered(tmp_path / "set"), tape)


def test_a_retake_of_one_second_is_aligned(tmp_path: Path, capsys: Capsys) -> None:
    """A retake as short as a second is placed to the sample and cures what it covers."""
    tape = make_tape(6, 2)
    first = tape.copy()
    first[150000:151000] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", tape[130000:178000], HOUR + 130000)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0, record["notes"]
    assert np.array_equal(delivered(tmp_path / "set"), tape)


@pytest.mark.parametrize("lost", [400, -400])
def test_a_slip_of_a_retake_is_found_to_the_sample(tmp_path: Path, capsys: Capsys, lost: int) -> None:
    """Samples lost or repeated in a retake are told with their number and do not spoil the set."""
    tape = make_tape(8, 2)
    at = 200000
    retake = np.concatenate((tape[:at], tape[at + lost :]))
    first = tape.copy()
    first[90000:91000] = 0
    first[300000:301000] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", first, "01:00:00:00")
    layout.add_pass("A2", "A", retake, "01:00:00:00")
    _, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert np.array_equal(delivered(tmp_path / "set")[: tape.shape[0]], tape)
    (slip,) = [flaw for flaw in record["passes"][1]["flaws"] if flaw["kind"] == "slip"]
    assert slip["samples"] == lost
    assert abs(slip["start"] - at) <= 2
    assert slip["end"] == slip["start"]
    assert slip["cured"]


def test_a_slip_of_the_first_pass_is_cured_by_two_others(tmp_path: Path, capsys: Capsys) -> None:
    """When two passes show the same change of shift against the first, the first one slipped."""
    tape = make_tape(8, 2)
    first = np.concatenate((tape[:200000], tape[200300:]))
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", first, "01:00:00:00")
    layout.add_pass("A2", "A", tape, "01:00:00:00")
    layout.add_pass("A3", "A", tape[100000:320000], HOUR + 100000)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0, record["notes"]
    assert np.array_equal(delivered(tmp_path / "set"), tape)
    assert [flaw["kind"] for flaw in record["passes"][0]["flaws"]] == ["slip"]
    assert record["passes"][0]["flaws"][0]["samples"] == 300


def test_lost_samples_that_nobody_has_are_silence_and_told(tmp_path: Path, capsys: Capsys) -> None:
    """A slip that only the log shows leaves silence for the lost samples, listed with what may lie beside its place."""
    tape = make_tape(8, 1)
    lost = 4800
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", np.concatenate((tape[:192000], tape[192000 + lost :])), HOUR)
    quarters = np.arange(4 * 30 * 3600, 4 * 30 * 3600 + 8 * 120)
    seconds = (quarters / 4 - 30 * 3600) / 30
    behind = seconds > (192000 + lost) / RATE
    kept = (seconds < 4.0) | behind
    seconds = np.where(behind, seconds - lost / RATE, seconds)[kept]
    data = encode_quarter_stream(int(quarters[0]), quarters.size, frame_rate("30"))[kept]
    seconds += np.random.default_rng(1).uniform(0, 0.001, seconds.size)
    with (tmp_path / "captures" / "A1" / "timecode.mid").open("wb") as stream:
        write_midi_log(stream, np.sort(seconds), quarter_messages(data))
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 1
    (place,) = (place for place in record["uncured"] if place["kind"] == "slip")
    beside = [other for other in record["uncured"] if other is not place]
    assert {other["kind"] for other in beside} == {"disagreement"}
    # No message between the two that follow each other over the slip, a 120th of a second apart, tells where.
    assert all(abs(other["start"] - place["start"]) < lost + RATE // 60 for other in beside)
    assert abs(place["end"] - place["start"] - lost) <= 8
    assert not delivered(tmp_path / "set")[place["start"] : place["end"]].any()


def test_reels_in_sequence_share_a_track(tmp_path: Path, capsys: Capsys) -> None:
    """Two reels that name the same track follow one another on it, with silence in a gap."""
    tape = make_tape(5, 1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["Voice"])
    layout.add_reel("B", ["Voice"])
    layout.add_pass("A1", "A", tape[:96000], "01:00:00:00")
    layout.add_pass("B1", "B", tape[144000:], "01:00:03:00")
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0
    out = delivered(tmp_path / "set")
    assert [span["pass"] for span in record["tracks"][0]["spans"]] == ["A1", None, "B1"]
    assert np.array_equal(out[:96000], tape[:96000])
    assert not out[96000:144000].any()
    assert np.array_equal(out[144000:], tape[144000:])
    assert record["tracks"][0]["reels"] == ["A", "B"]


def test_a_session_runs_on_past_midnight(tmp_path: Path, capsys: Capsys) -> None:
    """A pass that starts after midnight follows; the tracks' time reference stays that of the first sample."""
    tape = make_tape(4, 1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_reel("B", ["Two"])
    layout.add_pass("A1", "A", tape[:96000], "23:59:59:00")
    layout.add_pass("B1", "B", tape[96000:], "00:00:01:00")
    sheet = layout.write()
    # Looked at before it is built: a session taken apart at midnight would be a day long.
    _, looked_at = run_json(capsys, "check", sheet)
    assert looked_at["length"] == 4 * RATE
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 0
    assert record["start"] == {"timecode": "23:59:59:00", "sample": 86399 * RATE}
    assert record["length"] == 4 * RATE


def test_a_punch_wins_and_its_fade_lies_outside(tmp_path: Path, capsys: Capsys) -> None:
    """In listed mode only the punch is taken from the retake, whole, wherever flaws lie."""
    tape = make_tape(4, 1)
    other = make_tape(4, 1, seed=8)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    retake = tape.copy()
    retake[30000:120000] = other[30000:120000]
    layout.add_pass("A2", "A", retake, "01:00:00:00")
    layout.more = (
        '[[punch]]\nreel = "A"\npass = "A2"\nstart = "01:00:01:00"\nend = "01:00:02:00"\nfade_ms = 20\n'
        '[repair]\nmode = "listed"\n'
    )
    _, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    out = delivered(tmp_path / "set")
    assert np.array_equal(out[48000:96000], retake[48000:96000])
    assert np.array_equal(out[: 48000 - 960], tape[: 48000 - 960])
    assert np.array_equal(out[96000 + 960 :], tape[96000 + 960 :])
    assert [join["fade"] for join in record["tracks"][0]["joins"]] == [960, 960]


def test_mode_off_takes_the_first_pass(tmp_path: Path, capsys: Capsys) -> None:
    """With repair off nothing is cured: the most trusted pass is delivered as it is, and its flaws are listed."""
    tape = make_tape(3, 1)
    first = tape.copy()
    first[60000:64000] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    layout.more = '[repair]\nmode = "off"\n'
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 1
    assert [(place["kind"], place["start"], place["end"]) for place in record["uncured"]] == [
        ("mute", 60000, 64000)
    ]
    assert np.array_equal(delivered(tmp_path / "set"), first)


def test_scope_reel_changes_all_tracks_together(tmp_path: Path, capsys: Capsys) -> None:
    """With scope "reel" a flaw on one track moves every track to the other pass at the same places."""
    tape = make_tape(3, 3)
    first = tape.copy()
    first[60000:64000, 1] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two", "Three"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    layout.more = '[repair]\nscope = "reel"\n'
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0
    spans = [[(s["start"], s["end"], s["pass"]) for s in track["spans"]] for track in record["tracks"]]
    assert spans[0] == spans[1] == spans[2]
    assert [name for _, _, name in spans[0]] == ["A1", "A2", "A1"]
    assert np.array_equal(delivered(tmp_path / "set"), tape)


def test_positions_from_bext_and_from_sound(tmp_path: Path, capsys: Capsys) -> None:
    """A pass is placed by the time reference in its files, another by its sound alone."""
    tape = make_tape(6, 1)
    first = tape.copy()
    first[150000:152000] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", first, "x", timecode="bext")
    layout.add_pass("A2", "A", tape[130000:230000], "x", timecode="audio")
    place = tmp_path / "captures" / "A1" / "01.wav"
    plain = tmp_path / "plain.wav"
    place.rename(plain)
    command = ["ffmpeg", "-v", "error", "-i", str(plain), "-c", "copy", "-write_bext", "1"]
    subprocess.run([*command, "-metadata", f"time_reference={HOUR}", str(place)], check=True)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0, record
    assert record["start"]["sample"] == HOUR
    assert [one["clock"]["source"] for one in record["passes"]] == ["bext", "audio"]
    assert np.array_equal(delivered(tmp_path / "set"), tape)


def test_a_stranger_is_refused(tmp_path: Path, capsys: Capsys) -> None:
    """A retake that holds other sound where its timecode overlaps is not used, and told; status 1."""
    tape = make_tape(4, 2)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", make_tape(4, 2, seed=77), HOUR)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 1
    (note,) = [note for note in record["notes"] if note["kind"] == "retake_refused"]
    assert note["pass"] == "A2"
    assert np.array_equal(delivered(tmp_path / "set"), tape)


def test_a_chain_that_is_not_transparent_is_told(tmp_path: Path, capsys: Capsys) -> None:
    """A retake that runs along but is nowhere identical (dither in the way) is told and cures nothing silently."""
    tape = make_tape(4, 2)
    dithered = tape + np.random.default_rng(3).integers(-2, 3, tape.shape).astype(np.int32)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", dithered, HOUR)
    _, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert "not_transparent" in {note["kind"] for note in record["notes"]}
    assert np.array_equal(delivered(tmp_path / "set"), tape)


def test_start_and_end_cut_the_set(tmp_path: Path, capsys: Capsys) -> None:
    """The sheet's start and end give the first frame and the one behind the last; silence fills what is beyond."""
    tape = make_tape(3, 1)
    layout = Layout(tmp_path, session={"start": "00:59:59:00", "end": "01:00:02:00"})
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0
    out = delivered(tmp_path / "set")
    assert record["length"] == 3 * RATE
    assert not out[:RATE].any()
    assert np.array_equal(out[RATE:], tape[: 2 * RATE])


def test_unused_tracks_are_counted_and_not_delivered(tmp_path: Path, capsys: Capsys) -> None:
    """An unused track has a number and no file."""
    tape = make_tape(2, 3)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "", "Three"])
    layout.add_reel("B", ["Four"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    layout.add_pass("B1", "B", tape[:, :1], "01:00:00:00")
    _, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert [track["file"] for track in record["tracks"]] == [
        "tracks/01_One.wav",
        "tracks/03_Three.wav",
        "tracks/04_Four.wav",
    ]


def test_a_16_bit_capture_can_be_delivered_in_24(tmp_path: Path, capsys: Capsys) -> None:
    """Widening the container leaves the low bits zero."""
    tape = make_tape(2, 1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    layout.more = "[deliver]\nword_length = 24\n"
    status, _ = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0
    samples, _ = soundfile.read(tmp_path / "set" / "data" / "tracks" / "01_One.wav", dtype="int32")
    assert np.array_equal(samples, tape[:, 0] << 16)
    assert soundfile.info(tmp_path / "set" / "data" / "tracks" / "01_One.wav").subtype == "PCM_24"


def test_quiet_and_silent_material_is_left_alone(tmp_path: Path, capsys: Capsys) -> None:
    """Digital silence with quiet edges, a fade to nothing, clipped peaks and square waves are no flaws."""
    count = 4 * RATE
    time = np.arange(count) / RATE
    fade = np.round(8000 * np.sin(2 * np.pi * 220 * time) * np.clip(2 - time, 0, 1)).astype(np.int32)
    square = np.where(np.sin(2 * np.pi * 90 * time) > 0, 9000, -9000).astype(np.int32)
    loud = 12000 * np.sin(2 * np.pi * 310 * time) + 200 * np.random.default_rng(1).standard_normal(count)
    # Now and then a peak that the converter could not hold: forty samples at the end of the scale.
    for place in range(RATE // 2, count - RATE // 2, RATE // 2):
        loud[place : place + 40] = 40000
    clipped = np.clip(np.round(loud), -32768, 32767).astype(np.int32)
    tape = np.stack((fade, square, clipped), axis=1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["Fade", "Square", "Clipped"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert record["passes"][0]["flaws"] == []
    assert status == 0
    assert np.array_equal(delivered(tmp_path / "set"), tape)


def test_four_stereo_files_are_eight_tracks(tmp_path: Path, capsys: Capsys) -> None:
    """Any split of the tape's tracks over files works, as long as their channels add up."""
    tape = make_tape(2, 4)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two", "Three", "Four"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    place = tmp_path / "captures" / "A1"
    for path in place.iterdir():
        path.unlink()
    write_wave(place / "1.wav", tape[:, :2], 16)
    write_wave(place / "2.wav", tape[:, 2:], 16)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0
    assert record["passes"][0]["channels"] == [[0, 0], [0, 1], [1, 0], [1, 1]]
    assert np.array_equal(delivered(tmp_path / "set"), tape)


@pytest.mark.parametrize("off", [0, 7, -12])
def test_overlapping_reels_of_one_sound_are_tied(tmp_path: Path, capsys: Capsys, off: int) -> None:
    """Where a reel change holds the same numbers on both tapes the later reel is moved onto the earlier one."""
    tape = make_tape(6, 2)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_reel("B", ["Two", "One"])
    layout.add_pass("A1", "A", tape[:168000], "bext", timecode={"start": "01:00:00:00"})
    second = np.ascontiguousarray(tape[120000 + off :, ::-1])
    layout.add_pass("B1", "B", second, "bext", timecode={"start": "01:00:02:15"})
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0, record["notes"]
    assert np.array_equal(delivered(tmp_path / "set"), tape)
    for track in record["tracks"]:
        assert [span["pass"] for span in track["spans"]] == ["A1", "B1"]
        assert [join["law"] for join in track["joins"]] == ["identical"]
    assert any(f"moved by {off:+d} samples" in note["text"] for note in record["notes"])


def test_flaws_of_one_pass_point_at_the_machine(tmp_path: Path, capsys: Capsys) -> None:
    """Bursts in one pass only, at the pace of a rotating part, are told with the interval in milliseconds."""
    tape = make_tape(4, 1)
    first = tape.copy()
    noise = np.random.default_rng(3)
    for place in range(30000, 150000, 9600):
        first[place : place + 120, 0] = noise.integers(-15000, 15000, 120)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 0
    (note,) = [note for note in record["notes"] if note["kind"] == "machine_suspected"]
    assert note["pass"] == "A1"
    assert "13 places" in note["text"]
    assert "every 200.0 ms" in note["text"]


def test_what_lies_on_the_beats_of_the_music_points_at_no_part_that_turns(
    tmp_path: Path, capsys: Capsys
) -> None:
    """Strokes that die away, of which a few are cut off: these few of a lone pass are told, but not their beat."""
    random = np.random.default_rng(4)
    tape = np.zeros((480_000, 3), np.int32)
    stroke = np.arange(16_000)
    for track in range(3):
        cut = random.choice(18, 3, replace=False)
        for beat in range(19):
            sound = random.normal(scale=random.uniform(3000, 6000), size=16_000) * np.exp(-stroke / 5000)
            sound *= np.clip((stroke[::-1] - 2000) / 6000, 0, 1)
            size = 7000 if beat in cut else 16_000
            tape[beat * 24_000 + 9000 :][:size, track] = np.rint(sound[:size])
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two", "Three"])
    layout.add_pass("A1", "A", tape, HOUR)
    status, record = run_json(capsys, "check", layout.write())
    assert status == 1
    (note,) = [note for note in record["notes"] if "held by no other pass" in note["text"]]
    assert note["kind"] == "other"
    assert "every" not in note["text"]


def test_a_punch_that_brings_in_a_flaw_is_told(tmp_path: Path, capsys: Capsys) -> None:
    """A punch wins even over a mute in its pass: the mute is delivered, told and listed; so is a punch into nothing."""
    tape = make_tape(4, 1)
    retake = tape[48000:144000].copy()
    retake[20000:22000] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", retake, HOUR + 48000)
    layout.more = '[[punch]]\nreel = "A"\npass = "A2"\nstart = "01:00:01:10"\nend = "01:00:03:15"\n'
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 1
    texts = {note["kind"]: note["text"] for note in record["notes"] if "punch" in note["text"]}
    assert "brings in a mute of A2, 2000 samples" in texts["other"]
    assert "does not hold all of it" in texts["retake_refused"]
    assert [(place["kind"], place["end"] - place["start"]) for place in record["uncured"]] == [("mute", 2000)]
    out = delivered(tmp_path / "set")[:, 0]
    at = record["uncured"][0]["start"]
    assert not out[at : at + 2000].any()
    assert np.array_equal(np.delete(out, range(at, at + 2000)), np.delete(tape[:, 0], range(at, at + 2000)))


def test_what_lies_between_two_passes_is_listed_as_missing(tmp_path: Path, capsys: Capsys) -> None:
    """A stretch of a reel that no pass holds is silence, listed, and needs a person."""
    tape = make_tape(8, 2)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape[:144000], "01:00:00:00")
    layout.add_pass("A2", "A", tape[240000:], "01:00:05:00")
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 1
    places = [(place["track"], place["kind"], place["start"], place["end"]) for place in record["uncured"]]
    assert places == [("One", "missing", 144000, 240000), ("Two", "missing", 144000, 240000)]
    assert not delivered(tmp_path / "set")[144000:240000].any()


def test_a_dead_channel_is_one_long_mute(tmp_path: Path, capsys: Capsys) -> None:
    """A pass with nothing but zeros where a retake has sound: cured there, listed where nothing else is."""
    tape = make_tape(6, 2)
    first = tape.copy()
    first[:, 1] = 0
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", tape[48000:240000], HOUR + 48000)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 1
    out = delivered(tmp_path / "set")
    assert np.array_equal(out[:, 0], tape[:, 0])
    assert np.array_equal(out[48000:240000, 1], tape[48000:240000, 1])
    assert {(place["track"], place["kind"]) for place in record["uncured"]} == {("Two", "mute")}
    assert sum(place["end"] - place["start"] for place in record["uncured"]) == 96000


def test_a_track_cut_short_is_cured_by_retakes(tmp_path: Path, capsys: Capsys) -> None:
    """A crashed track file does not make its retakes strangers: there is nothing to hold them against."""
    tape = make_tape(6, 2)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", tape[96000:], HOUR + 96000)
    write_wave(tmp_path / "captures" / "A1" / "02.wav", tape[:90000, 1], 16)
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 1
    assert [note for note in record["notes"] if note["kind"] == "retake_refused"] == []
    out = delivered(tmp_path / "set")
    assert np.array_equal(out[96000:], tape[96000:])
    assert [(p["track"], p["kind"], p["start"], p["end"]) for p in record["uncured"]] == [
        ("Two", "missing", 90000, 96000)
    ]


def test_a_log_of_another_rate_is_refused(tmp_path: Path, capsys: Capsys) -> None:
    """A log that counts 30 where the sheet says 25 gives one line with both numbers, status 2."""
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(3, 1), HOUR)
    sheet = layout.write()
    sheet.write_text(sheet.read_text().replace('frame_rate = "30"', 'frame_rate = "25"'))
    status, told = run_json(capsys, "check", sheet)
    assert status == 2
    assert "timecode.mid" in told
    assert "30" in told
    assert "25" in told


def test_a_retake_that_is_nowhere_identical_cures_nothing_unasked(tmp_path: Path, capsys: Capsys) -> None:
    """Where the sheet leaves it to a person a dithered retake replaces no mute; a punch may still ask for it."""
    tape = make_tape(4, 1)
    first = tape.copy()
    first[60000:64000] = 0
    retake = (tape + np.random.default_rng(3).integers(-2, 3, tape.shape)).astype(np.int32)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", retake, HOUR)
    layout.more = '[repair]\nunlike = "list"\n'
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 1
    assert np.array_equal(delivered(tmp_path / "set"), first)
    assert [(place["kind"], place["start"], place["end"]) for place in record["uncured"]] == [
        ("mute", 60000, 64000)
    ]
