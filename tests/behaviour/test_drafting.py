"""Drafts that listen, and sheets that grow."""

from __future__ import annotations

import json
import tomllib
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile

from assembler.cli.commands import run
from assembler.drafting.names import without_shared
from assembler.sheet import load_sheet
from assembler.timecode import encode_quarter_stream, frame_rate
from tests.support.sessions import HOUR, RATE, make_tape, write_log, write_wave

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

Capsys = pytest.CaptureFixture[str]


def put(folder: Path, samples: Int32s, bits: int = 16, names: str = "{}") -> None:
    """Write a capture, one mono file a track."""
    for track in range(samples.shape[1]):
        write_wave(folder / f"{names.format(track + 1)}.wav", samples[:, track], bits)


def logged(folder: Path, samples: Int32s, start: int) -> None:
    """Write a capture with a log; ``start`` counts samples from one o'clock."""
    put(folder, samples)
    write_log(folder / "timecode.mid", (HOUR + start) / RATE * 30, samples.shape[0] / RATE)


def drafted(folder: Path, capsys: Capsys) -> tuple[dict[str, Any], str]:
    """Return the sheet drafted for a folder, as TOML and as text."""
    assert run(["draft", str(folder), "-o", str(folder / "session.toml")]) == 0
    capsys.readouterr()
    text = (folder / "session.toml").read_text()
    load_sheet(folder / "session.toml")
    return tomllib.loads(text), text


def reels_of(sheet: dict[str, Any]) -> list[list[str]]:
    """Return the names of the passes of each reel, in the order of the sheet."""
    return [[one["name"] for one in sheet["pass"] if one["reel"] == reel["name"]] for reel in sheet["reel"]]


def test_captures_of_other_names_are_one_tape_where_their_sound_is(tmp_path: Path, capsys: Capsys) -> None:
    """A retake that nobody named so is found inside the long pass; another tape stays another."""
    tape, other = make_tape(8, 4, seed=1), make_tape(8, 4, seed=2)
    put(tmp_path / "monday", tape)
    put(tmp_path / "friday late", tape[100_000:250_000])
    put(tmp_path / "basement", other)
    sheet, text = drafted(tmp_path, capsys)
    assert reels_of(sheet) == [["basement"], ["monday", "friday late"]]
    assert "hold the same sound, so they are taken for one tape" in text


def test_captures_that_a_recorder_numbered_are_parted_by_their_sound(tmp_path: Path, capsys: Capsys) -> None:
    """One name for all tells nothing of tapes."""
    tapes = [make_tape(6, 4, seed=seed) for seed in (1, 2)]
    for number, (tape, start) in enumerate([(0, 0), (1, 0), (0, 50_000), (1, 60_000)]):
        put(tmp_path / f"Audio_{number + 1:03d}", tapes[tape][start:])
    sheet, text = drafted(tmp_path, capsys)
    assert reels_of(sheet) == [["Audio_001", "Audio_003"], ["Audio_002", "Audio_004"]]
    assert "other sound than those of other tapes" in text


def test_two_halves_of_a_tape_stay_one_by_their_name(tmp_path: Path, capsys: Capsys) -> None:
    """What is not found in another pass may be another stretch."""
    tape = make_tape(8, 2, seed=1)
    put(tmp_path / "A1", tape[:200_000])
    put(tmp_path / "A2", tape[200_000:])
    assert reels_of(drafted(tmp_path, capsys)[0]) == [["A1", "A2"]]


def test_the_longest_and_cleanest_pass_comes_first(tmp_path: Path, capsys: Capsys) -> None:
    """Of passes as long as each other the one that stands still less."""
    tape = make_tape(6, 2, seed=1)
    flawed = tape.copy()
    flawed[30_000:60_000] = 0
    put(tmp_path / "A1", tape[:100_000])
    put(tmp_path / "A2", flawed)
    put(tmp_path / "A3", tape[500:])
    assert reels_of(drafted(tmp_path, capsys)[0]) == [["A3", "A2", "A1"]]


def test_a_mix_beside_the_captures_is_no_pass(tmp_path: Path, capsys: Capsys) -> None:
    """Two channels beside captures of eight tracks: left out, and said."""
    tape = make_tape(4, 8, seed=1)
    put(tmp_path / "A1", tape)
    mix = np.stack([tape[:, :4].sum(axis=1) // 4, tape[:, 4:].sum(axis=1) // 4], axis=1)
    write_wave(tmp_path / "A1" / "rough mix.wav", mix.astype(np.int32), 16)
    sheet, text = drafted(tmp_path, capsys)
    assert reels_of(sheet) == [["A1"]]
    assert len(load_sheet(tmp_path / "session.toml").reels[0].tracks) == 8
    assert "rough mix.wav is left out: 2 channels beside captures of 8 tracks" in text
    capsys.readouterr()
    assert run(["check", str(tmp_path / "session.toml")]) in (0, 2)
    assert "found 10 tracks" not in capsys.readouterr().err


def test_a_sheet_above_the_captures_finds_them(tmp_path: Path, capsys: Capsys) -> None:
    """Paths begin where the sheet lies; one that lies elsewhere says where it belongs."""
    folder = tmp_path / "session" / "captures"
    logged(folder / "A1", make_tape(4, 2, seed=1), 0)
    sheet = tmp_path / "session.toml"
    assert run(["draft", str(folder), "-o", str(sheet)]) == 0
    assert "put it there" not in capsys.readouterr().out
    assert tomllib.loads(sheet.read_text())["pass"][0]["audio"] == "session/captures/A1/*.wav"
    assert run(["check", str(sheet)]) == 0
    (tmp_path / "other").mkdir()
    capsys.readouterr()
    assert run(["draft", str(folder), "-o", str(tmp_path / "other" / "sheet.toml")]) == 0
    assert f"Its paths begin at {folder}, which it does not lie in or above" in capsys.readouterr().out


def test_tapes_of_two_machines_in_sync_have_sixteen_tracks(tmp_path: Path, capsys: Capsys) -> None:
    """Files that have numbers alone: the second tape's run on, in a first draft and in a sheet that grows."""
    tape = make_tape(4, 16, seed=1)
    logged(tmp_path / "A1", tape[:, :8], 0)
    grown = tmp_path / "grown.toml"
    assert run(["draft", str(tmp_path), "-o", str(grown)]) == 0
    logged(tmp_path / "B1", tape[4800:, 8:], 4800)
    logged(tmp_path / "B2", tape[:100_000, 8:], 0)
    drafted(tmp_path, capsys)
    assert run(["draft", str(tmp_path), "--into", str(grown)]) == 0
    for sheet in (tmp_path / "session.toml", grown):
        assert [reel.tracks for reel in load_sheet(sheet).reels] == [
            tuple(f"Track {number}" for number in range(1, 9)),
            tuple(f"Track {number}" for number in range(9, 17)),
        ]
        assert run(["check", str(sheet)]) == 0
        assert ": 16 tracks of" in capsys.readouterr().out


def test_tapes_that_follow_each_other_keep_their_tracks(tmp_path: Path, capsys: Capsys) -> None:
    """A change of reel: by their logs one begins about where the other ends."""
    tape = make_tape(8, 2, seed=1)
    logged(tmp_path / "A1", tape[: 4 * RATE], 0)
    logged(tmp_path / "B1", tape[4 * RATE - 4800 :], 4 * RATE - 4800)
    drafted(tmp_path, capsys)
    assert {reel.tracks for reel in load_sheet(tmp_path / "session.toml").reels} == {("Track 1", "Track 2")}


@pytest.mark.parametrize(
    ("names", "is_mix"),
    [
        (("Rough L", "Rough R"), True),
        (("mix.left", "mix.right"), True),
        (("L", "R"), True),
        (("1", "2"), False),
        (("Vocal", "Guitar"), False),
        (("Gtr L", "Bass R"), False),
    ],
)
def test_a_mix_in_two_files_is_no_pass(
    tmp_path: Path,
    capsys: Capsys,
    names: tuple[str, str],
    is_mix: bool,  # noqa: FBT001 - a column of the table
) -> None:
    """A left and a right one of one name; two tracks of any other name may be all that somebody captured."""
    tape = make_tape(3, 8, seed=1)
    put(tmp_path / "A1", tape)
    for track, name in enumerate(names):
        write_wave(tmp_path / "other" / f"{name}.wav", tape[:, track], 16)
    sheet, text = drafted(tmp_path, capsys)
    assert ("other" not in [one["name"] for one in sheet["pass"]]) == is_mix
    assert ("is left out: 2 channels beside captures of 8 tracks" in text) == is_mix


def test_word_length_and_frame_rate_are_measured(tmp_path: Path, capsys: Capsys) -> None:
    """Sixteen bits stand in 24; a log that says 30 frames a second runs at 29.97."""
    tape = make_tape(30, 2, seed=1)
    put(tmp_path / "A1", np.left_shift(tape, 8).astype(np.int32), bits=24)
    write_log(tmp_path / "A1" / "timecode.mid", 108_000, 30, frame_rate_name="29.97", jitter_seconds=0.0005)
    sheet, text = drafted(tmp_path, capsys)
    assert (sheet["session"]["bit_depth"], sheet["session"]["frame_rate"]) == (16, "29.97")
    assert sheet["session"]["sample_rate"] == RATE
    assert "A1: measured 16 bits in use; its files have room for 24" in text
    assert "which come at the pace of 29.97" in text


def test_a_wrong_rate_in_the_files_shows_in_their_timecode(tmp_path: Path, capsys: Capsys) -> None:
    """A recorder on the tape's 48 kHz clock that believes in 44.1 kHz writes log and header by the wrong second."""
    put(tmp_path / "A1", make_tape(30, 2, seed=1))
    for path in (tmp_path / "A1").glob("*.wav"):
        samples, _ = soundfile.read(path, dtype="int16")
        soundfile.write(path, samples, 44_100, "PCM_16")
    data = encode_quarter_stream(4 * 108_000, 3600, frame_rate("30"))
    lines = [f"{at / 120 * 48_000 / 44_100:.6f},F1{byte:02X}" for at, byte in enumerate(data)]
    (tmp_path / "A1" / "timecode.csv").write_text("\n".join(["seconds,bytes", *lines]))
    sheet, text = drafted(tmp_path, capsys)
    assert sheet["session"]["sample_rate"] == 44_100
    assert "A1: its timecode takes 1.0884 s for a second by the files' rate" in text


@pytest.mark.parametrize(
    ("names", "left"),
    [
        (["Song_Kick_t1", "Song_Snare_t1"], ["Kick", "Snare"]),
        (["Harvest A1", "Harvest A2", "Harvest B1"], ["A1", "A2", "B1"]),
        (["Reel 1", "Reel 2"], ["Reel 1", "Reel 2"]),
        (["Audio_001", "Audio_002"], ["Audio_001", "Audio_002"]),
        (["Harvest", "Harvest late"], ["Harvest", "Harvest late"]),
        (["A1"], ["A1"]),
        (["A1", "A1"], ["A1", "A1"]),
        (["", " x"], ["", " x"]),
        (["My tape 1", "My tape 2"], ["My tape 1", "My tape 2"]),
    ],
)
def test_what_all_names_share_is_stripped(names: list[str], left: list[str]) -> None:
    """Whole words only, and never so much that a name says nothing."""
    assert without_shared(names) == left


def test_a_sheet_grows_and_keeps_what_a_person_wrote(tmp_path: Path, capsys: Capsys) -> None:
    """Comments, order and corrections stay byte for byte; new passes come behind; the old sheet is kept."""
    tape = make_tape(8, 4, seed=1)
    put(tmp_path / "A1", tape)
    drafted(tmp_path, capsys)
    sheet = tmp_path / "session.toml"
    old = "# Mine. \n" + sheet.read_text().replace('"Track 1",', '"Kick",   # heard it') + "\n\n# the end"
    sheet.write_text(old)
    put(tmp_path / "later", tape[100_000:300_000])
    put(tmp_path / "A2", make_tape(5, 4, seed=1)[:10_000])
    put(tmp_path / "garage", make_tape(8, 4, seed=3))
    assert run(["draft", str(tmp_path), "--into", str(sheet), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert sheet.read_text().startswith(old)
    assert (tmp_path / "session.toml.1.bak").read_text() == old
    assert told["backup"] == str(tmp_path / "session.toml.1.bak")
    assert any("later is added to reel A: found in A1 by its sound" in line for line in told["told"])
    assert any("garage is added as a pass of a new reel" in line for line in told["told"])
    grown = load_sheet(sheet)
    assert [(one.name, one.reel) for one in grown.passes][:1] == [("A1", "A")]
    assert {(one.name, one.reel) for one in grown.passes[1:]} == {
        ("later", "A"), ("A2", "A"), ("garage", "garage"),
    }  # fmt: skip
    # Again: nothing is new, nothing is written.
    before = sorted(path.name for path in tmp_path.iterdir())
    text = sheet.read_text()
    assert run(["draft", str(tmp_path), "--into", str(sheet)]) == 0
    assert "Nothing was written" in capsys.readouterr().out
    assert sheet.read_text() == text
    assert sorted(path.name for path in tmp_path.iterdir()) == before


BY_HAND = """# mine
[session] # head
title = "x"   # behind a key
sample_rate=48000
bit_depth =  16
frame_rate = '30'

[[reel]]
name="A"
tracks = [ "a", # one
  "b", ]
[[pass]]
name = "A1"
reel = "A"
audio = ["takes/A1/1.wav", "takes/A1/2.wav"]
timecode = { start = "01:00:00:00" } # by hand
[repair]
mode = "auto"
[deliver]
checksums = ["md5"]"""


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("last", ["", "\n", "\n\n# end"])
def test_a_sheet_of_any_layout_grows_byte_for_byte(
    tmp_path: Path, capsys: Capsys, end: str, mark: bytes, last: str
) -> None:
    """Line ends, a byte order mark, comments behind keys, odd spaces, no last line end; it can be checked at once."""
    tape = make_tape(6, 2, seed=1)
    put(tmp_path / "takes" / "A1", tape)
    put(tmp_path / "takes" / "later", tape[100_000:200_000])
    sheet = tmp_path / "session.toml"
    old = mark + (BY_HAND + last).replace("\n", end).encode()
    sheet.write_bytes(old)
    assert run(["draft", str(tmp_path / "takes"), "--into", str(sheet)]) == 0
    grown = sheet.read_bytes()
    assert grown.startswith(old)
    assert grown.count(b"\r\n") == (grown.count(b"\n") if end == "\r\n" else 0)
    assert (tmp_path / "session.toml.1.bak").read_bytes() == old
    assert b'timecode = "audio"' in grown[len(old) :]
    capsys.readouterr()
    assert run(["check", str(sheet), "--json"]) == 0
    passes = json.loads(capsys.readouterr().out)["passes"]
    assert [(one["name"], one["stretches"][0]["timeline_start"] - HOUR) for one in passes] == [
        ("A1", 0), ("later", 100_000),
    ]  # fmt: skip


def test_a_capture_without_a_log_is_placed_by_its_sound(tmp_path: Path, capsys: Capsys) -> None:
    """Where another one of its tape has timecode; a folder with such a capture can be listed for the machine."""
    tape = make_tape(8, 2, seed=1)
    put(tmp_path / "A1", tape)
    write_log(tmp_path / "A1" / "timecode.mid", 108_000, 8)
    put(tmp_path / "A2", tape[100_000:250_000])
    put(tmp_path / "B1", make_tape(6, 2, seed=2))
    sheet, text = drafted(tmp_path, capsys)
    assert [one.get("timecode") for one in sheet["pass"]] == ["A1/timecode.mid", "audio", None]
    assert "GUESSED: no timecode found; its sound is sought" in text
    assert "CHECK: no timecode found" in text
    for path in (tmp_path / "B1").iterdir():
        path.unlink()
    assert run(["retakes", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["reels"][0]["states"]["proven"] > 0.3


def test_a_sheet_in_another_form_is_refused_and_stays(tmp_path: Path, capsys: Capsys) -> None:
    """Tables in a list have no place for more behind the end: told, nothing written."""
    put(tmp_path / "A1", make_tape(2, 2, seed=1))
    put(tmp_path / "A2", make_tape(2, 2, seed=1))
    sheet = tmp_path / "session.toml"
    text = (
        'pass = [{ name = "A1", reel = "A", audio = "A1/*.wav", timecode = { start = "01:00:00:00" } }]\n'
        'reel = [{ name = "A", tracks = ["a", "b"] }]\n'
        '[session]\ntitle = "x"\nsample_rate = 48000\nbit_depth = 16\nframe_rate = "30"\n'
    )
    sheet.write_text(text)
    assert run(["draft", str(tmp_path), "--into", str(sheet)]) == 2
    assert "cannot be added" in capsys.readouterr().err
    assert sheet.read_text() == text
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["session.toml"]


def test_a_link_to_a_sheet_is_refused_and_both_stay(tmp_path: Path, capsys: Capsys) -> None:
    """A new file in its place would end the link, and the sheet would not have grown."""
    put(tmp_path / "A1", make_tape(2, 2, seed=1))
    sheet, link = tmp_path / "session.toml", tmp_path / "link.toml"
    assert run(["draft", str(tmp_path), "-o", str(sheet)]) == 0
    before = sheet.read_bytes()
    link.symlink_to(sheet)
    put(tmp_path / "A2", make_tape(2, 2, seed=1))
    capsys.readouterr()
    assert run(["draft", str(tmp_path), "--into", str(link)]) == 2
    assert capsys.readouterr().err == f"assembler: {link}: is a link; allowed: the sheet itself\n"
    assert link.is_symlink()
    assert sheet.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["A1", "A2", "link.toml", "session.toml"]


def test_what_cannot_grow_is_told_in_a_line(tmp_path: Path, capsys: Capsys) -> None:
    """A sheet that is not there, a folder outside, two ways at once."""
    put(tmp_path / "in" / "A1", make_tape(2, 2, seed=1))
    put(tmp_path / "out" / "A2", make_tape(2, 2, seed=1))
    drafted(tmp_path / "in", capsys)
    sheet = tmp_path / "in" / "session.toml"
    for arguments, words in (
        ([tmp_path / "in", "--into", tmp_path / "none.toml"], "none.toml"),
        ([tmp_path / "out", "--into", sheet], "lies outside the sheet's folder"),
        ([tmp_path / "in", "--into", sheet, "-o", tmp_path / "x.toml"], "allowed: one of them"),
    ):
        assert run(["draft", *map(str, arguments)]) == 2
        found = capsys.readouterr().err
        assert words in found
        assert "Traceback" not in found
    assert not (tmp_path / "x.toml").exists()
