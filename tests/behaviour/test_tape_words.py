"""A tape's own word length, where the sheet, or the files, say another one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile

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
    got = delivered(tmp_path / "set", 24)
    start = answer["record"]["start"]["sample"] - HOUR if "record" in answer else 0
    assert start == 0
    assert np.array_equal(got, in_files_of_24(tape))
