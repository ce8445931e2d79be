"""A tape's own word length, where the sheet, or the files, say another one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from tests.support.sessions import HOUR, RATE, Layout, delivered, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

TRACKS = 4


def concealed(tape: Int32s, seed: int) -> Int32s:
    """Return a pass with short lines and means that its machine has drawn, all in the tape's own steps."""
    random = np.random.default_rng(seed)
    copy = tape.copy()
    for track in range(tape.shape[1]):
        # Places of one second each, a half of it for either pass: none is flawed in both.
        for second in range(1, tape.shape[0] // RATE - 1):
            start = second * RATE + seed % 2 * (RATE // 2) + int(random.integers(RATE // 4))
            if second % 2:
                size = int(random.integers(8, 80))
                ends = np.array([copy[start - 1, track], copy[start + size, track]], np.float64)
                line = ends[0] + (ends[1] - ends[0]) * np.arange(1, size + 1) / (size + 1)
                copy[start : start + size, track] = np.floor(line).astype(np.int32)
            else:
                at = np.arange(start, start + 2 * int(random.integers(10, 40)), 2)
                copy[at, track] = (copy[at - 1, track] + copy[at + 1, track]) >> 1
    return copy


def in_files_of_24(tape: Int32s) -> Int32s:
    """Return samples of 16 bits as they stand in files of 24."""
    return np.left_shift(tape, 8)


def layout_of(folder: Path, *passes: Int32s, said: int = 24, reel: str = "") -> Path:
    """Write a session of one reel in 24-bit files; ``reel`` is what its table says besides."""
    layout = Layout(folder, bits=24, session={"bit_depth": said})
    if said == 16:
        layout.more = "[deliver]\nword_length = 24\n"
    layout.add_reel("A", [f"T{track + 1}" for track in range(passes[0].shape[1])])
    for index, one in enumerate(passes):
        layout.add_pass(f"A{index + 1}", "A", one, HOUR)
    path = layout.write()
    if reel:
        path.write_text(path.read_text().replace("[[reel]]\n", f"[[reel]]\n{reel}\n"))
    return path


def word_notes(record: dict[str, Any]) -> list[str]:
    """Return the notes that hold the sheet's word length against the material's."""
    return [note["text"] for note in record["notes"] if "the sheet says" in note["text"]]


@pytest.mark.parametrize("seed", [3, 11, 23])
def test_concealment_is_judged_by_the_tapes_own_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], seed: int
) -> None:
    """A tape of 16 bits in files of 24: the sheet that says 24 costs no sample, and is told."""
    tape = make_tape(8, TRACKS, seed=seed)
    passes = [in_files_of_24(concealed(tape, 2 * seed + index)) for index in (0, 1)]
    sheet = layout_of(tmp_path, *passes)
    status, answer = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 0, answer
    assert np.array_equal(delivered(tmp_path / "set", 24), in_files_of_24(tape))
    (told,) = word_notes(answer)
    assert told.startswith("reel A: the sheet says 24 bits, its passes use 16")
    (reel,) = answer["reels"]
    assert (reel["bit_depth"], reel["bits_in_use"]) == (16, 16)
    assert answer["session"]["bit_depth"] == 24
    history = [row.split(",") for row in _history(tmp_path / "set")]
    assert [row[2] for row in history] == ["W=16", "W=16", "W=24"]


def _history(target: Path) -> list[str]:
    """Return the coding history of the first track, found by its first row's key (EBU R 98: A=, F=, W=, M=, T=)."""
    data = min((target / "data" / "tracks").iterdir()).read_bytes()
    start = data.index(b"A=PCM")
    return data[start : data.index(b"\r\n\x00", start)].decode("ascii").split("\r\n")


def test_a_reel_may_have_a_word_length_of_its_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A reel of 16 bits in a session of 24 is as the sheet says; nothing is told of it."""
    tape = in_files_of_24(make_tape(3, 2))
    sheet = layout_of(tmp_path, tape, tape, reel="bit_depth = 16")
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert (status, word_notes(record)) == (0, [])
    assert record["reels"][0]["bit_depth"] == 16
    status, answer = run_json(capsys, "verify", tmp_path / "set", "--against", sheet)
    assert status == 0, answer


def test_a_tape_finer_than_the_sheet_says_loses_no_bit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the sheet says 16 bits and the captures use 24 both are told, and all 24 are delivered."""
    tape = make_tape(3, 2, bits=24)
    status, record = run_json(
        capsys, "build", layout_of(tmp_path, tape, tape, said=16), "-o", tmp_path / "set"
    )
    assert status == 0
    (told,) = word_notes(record)
    assert told.startswith("reel A: the sheet says 16 bits, its passes use 24")
    assert (record["reels"][0]["bit_depth"], record["reels"][0]["bits_in_use"]) == (16, 24)
    assert np.array_equal(delivered(tmp_path / "set", 24), tape)


def test_a_set_of_20_bits_drops_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its four low bits are zero: captures that use them are refused in plain words, and nothing is written."""
    sheet = layout_of(tmp_path, make_tape(3, 2, bits=24), said=20)
    status, told = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 2
    assert "session.toml: line 4: session.bit_depth: found 20; sample 0 of track T1" in told
    assert not (tmp_path / "set").exists()


def test_one_chain_that_adds_bits_makes_no_other_tape(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of a tape of 16 bits and a pass through a chain that dithers to 24 the first one tells the word length."""
    tape = in_files_of_24(make_tape(3, 2))
    noise = np.random.default_rng(5).integers(-2, 3, tape.shape).astype(np.int32)
    status, record = run_json(capsys, "check", layout_of(tmp_path, tape, tape + noise, said=16))
    assert status == 1
    assert word_notes(record) == []
    assert record["reels"][0]["bits_in_use"] == 16
    (chain,) = [note["text"] for note in record["notes"] if note["kind"] == "not_transparent"]
    assert "A2 uses bits below the tape's 16" in chain


@pytest.mark.parametrize("levels", [0, 2])
def test_silence_and_square_waves_tell_no_word_length(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], levels: int
) -> None:
    """Few levels have low bits that are zero at one gain and not at another; the sheet is believed."""
    count = 3 * RATE
    wave = np.where(np.arange(count) // 100 % 2, 3 << 12, -3 << 12) if levels else np.zeros(count)
    tape = np.repeat(wave.astype(np.int32)[:, None], 2, axis=1)
    layout = Layout(tmp_path, bits=24)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, "01:00:00:00")
    _, record = run_json(capsys, "check", layout.write())
    assert word_notes(record) == []
    assert (record["reels"][0]["bit_depth"], record["reels"][0]["bits_in_use"]) == (24, None)
