"""The truth that the trials keep, and what a recorder does to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.demo.medium.causes import Cause
from assembler.demo.medium.concealment import Made
from assembler.demo.medium.machine import Heard
from assembler.demo.medium.recorder import Capture, capture, move
from assembler.timecode import frame_rate
from assembler.timecode.logs.writing import encode_quarter_stream
from scripts.bench.medium_recorder import _stick
from scripts.bench.medium_sessions import make_session
from scripts.bench.medium_writing import _log, quarter_byte

if TYPE_CHECKING:
    from pathlib import Path


def clean_capture(length: int = 6000) -> Capture:
    """Return a capture of two tracks that count."""
    words = np.stack([np.arange(length), np.arange(length) + 7]).astype(np.int32)
    none = np.zeros(words.shape, np.uint8)
    return capture("A1", Heard(words, none, none, np.ones(length, np.bool_)), 16, 24, 100, length)


@pytest.mark.parametrize("kind", ["two", "retake", "weave", "bits16in24", "bits20", "clean"])
def test_every_sample_that_is_not_the_tapes_has_a_cause(tmp_path: Path, kind: str) -> None:
    """What no cause is told of is the tape's own number at its place, in every pass."""
    session = make_session(tmp_path, kind, 3, seconds=3, tracks=4, own=True)
    for one in session.captures:
        wrong = one.words != session.tape[:, one.place]
        assert ((one.made != Made.TAPE) == (one.causes != Cause.NONE)).all()
        assert not (wrong & (one.causes == Cause.NONE)).any()
        assert wrong.any() == (kind != "clean") or kind == "retake"
        # The tape's own step is kept by every concealment.
        assert not (one.words & (15 if kind == "bits20" else 255)).any()


def test_a_session_follows_from_its_seed(tmp_path: Path) -> None:
    """The same seed, the same bytes."""
    sheets = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        sheets.append(make_session(tmp_path / name, "two", 8, seconds=1.5, tracks=2, own=True))
    for path in sorted((tmp_path / "one").rglob("*.*")):
        assert path.read_bytes() == (tmp_path / "two" / path.relative_to(tmp_path / "one")).read_bytes()


def test_a_stuck_bit_is_wrong_only_where_it_would_have_moved() -> None:
    """Half of what it touches is right by chance, and the truth knows."""
    one = clean_capture()
    _stick(one, np.random.default_rng(2), 500, 4000)
    wrong = [one.words[row] != (one.place + 7 * row) << 8 for row in (0, 1)]
    assert sum(mask.any() for mask in wrong) <= 1
    for row, mask in enumerate(wrong):
        assert (mask == (one.made[row] == Made.BIT)).all()
        assert (mask == (one.causes[row] == Cause.STUCK_BIT)).all()


def test_a_log_counts_the_recorders_samples() -> None:
    """Behind a lost buffer messages come that much earlier in the file, behind a doubled one later."""
    one = clean_capture(48000)
    move(one, [20000], lost=1024)
    move(one, [30000], doubled=256)
    lines = _log(one, 48000, 25, 48000 * 60, np.random.default_rng(1)).splitlines()[1:]
    # A hundred messages a second, the first at the first hundredth behind sample 100; late by less than a millisecond.
    late = [float(line.split(",")[0]) * 48000 - (480 * (index + 1) - 100) for index, line in enumerate(lines)]
    expected = [0] * 41 + [-1024] * 23 + [256 - 1024] * 35
    for index, (found, due) in enumerate(zip(late, expected, strict=False)):
        if index not in (41, 42, 43, 64, 65):
            assert due <= found <= due + 0.0008 * 48000 + 1


@pytest.mark.parametrize("frames", [25, 30])
def test_logs_speak_midi_timecode(frames: int) -> None:
    """MIDI 1.0, MIDI Time Code; held against the package's writer, which shares nothing with the bench's."""
    first = 4 * frames * 3600 * 13 + 8 * 777
    expected = encode_quarter_stream(first, 4000, frame_rate(str(frames)), first_reading=first // 4)
    assert [quarter_byte(quarter, frames) for quarter in range(first, first + 4000)] == expected.tolist()
