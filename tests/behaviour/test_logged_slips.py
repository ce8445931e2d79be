"""A slip that only a log shows: where it may lie is listed, since samples there may be off by its length."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.timecode import encode_quarter_stream, frame_rate
from tests.support.sessions import HOUR, RATE, Layout, delivered, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

Capsys = pytest.CaptureFixture[str]

SECONDS, AT = 8, 4 * RATE + 90
"""The slip lies beside a message, as far as it can from the middle of two, where the log has it."""


def _slipped_session(
    folder: Path, lost: int, *, has_witness: bool, names: tuple[str, ...] = ("One", "Two")
) -> tuple[Path, Int32s]:
    """Write a capture that lost (or, below zero, repeated) samples at ``AT``, and its log; return sheet and tape.

    Where there is a witness, a second pass without a slip begins behind the place.
    """
    tape = make_tape(SECONDS, len(names), seed=5)
    captured = np.concatenate((tape[:AT], tape[AT + lost :]))
    layout = Layout(folder)
    layout.add_reel("A", list(names))
    layout.add_pass("A1", "A", captured, "replaced by a log")
    del layout.passes[-1]["timecode"]
    count = SECONDS * 30 * 4
    data = encode_quarter_stream(3600 * 30 * 4, count, frame_rate("30"))
    sent = np.arange(count) * RATE // 120
    heard = [(at, byte) for at, byte in zip(sent, data, strict=True) if at < AT]
    heard += [(at - lost, byte) for at, byte in zip(sent, data, strict=True) if at >= AT + lost]
    rows = ["sample,bytes", *(f"{at},F1 {byte:02X}" for at, byte in heard), ""]
    (folder / "captures" / "A1" / "timecode.csv").write_text("\n".join(rows), encoding="ascii")
    if has_witness:
        layout.add_pass("A2", "A", tape[AT + RATE :], HOUR + AT + RATE)
    return layout.write(), tape


@pytest.mark.parametrize(("lost", "has_witness"), [(4810, False), (1010, True), (-1010, False)])
def test_what_may_be_off_beside_a_logged_slip_is_listed(
    tmp_path: Path, capsys: Capsys, *, lost: int, has_witness: bool
) -> None:
    """Every sample that is not the tape's lies in a place listed on its track, and little else does; status 1."""
    sheet, tape = _slipped_session(tmp_path, lost, has_witness=has_witness)
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 1
    found = delivered(tmp_path / "set")
    offset = record["start"]["sample"] - HOUR
    assert abs(offset) <= 1
    wrong = found != np.roll(tape, -offset, axis=0)[: found.shape[0]]
    wrong[-2:] = False
    assert wrong.any()
    for place in record["uncured"]:
        assert abs(place["start"] - AT) < RATE / 4
        assert abs(place["end"] - AT) < RATE / 4
        wrong[place["start"] : place["end"], ["One", "Two"].index(place["track"])] = False
    assert np.flatnonzero(wrong[:, 0]).tolist() == np.flatnonzero(wrong[:, 1]).tolist() == []


def test_what_came_twice_is_placed_by_the_sound_itself(tmp_path: Path, capsys: Capsys) -> None:
    """The log says that samples came twice, the sound which: nothing is in doubt, and every sample is the tape's."""
    names = ("One", "Two", "Three", "Four")
    sheet, tape = _slipped_session(tmp_path, -1010, has_witness=False, names=names)
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 0
    (slip,) = [flaw for flaw in record["passes"][0]["flaws"] if flaw["kind"] == "slip"]
    assert (slip["start"], slip["samples"]) == (AT + 1010, -1010)
    found = delivered(tmp_path / "set")
    offset = record["start"]["sample"] - HOUR
    assert abs(offset) <= 1
    assert np.array_equal(found[2:-2], np.roll(tape, -offset, axis=0)[2 : found.shape[0] - 2])
