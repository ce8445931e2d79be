"""Quarter frames decoded: what counts, what is left out, and what is told."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.errors import TimecodeLogError
from assembler.timecode import (
    FRAME_RATES,
    FullFrame,
    MidiLog,
    TimecodePoints,
    decode_quarter_frames,
    encode_quarter_stream,
    parse_label,
)

if TYPE_CHECKING:
    from assembler.arrays import Bytes, Float64s

RATE = FRAME_RATES["30"]


def make_log(data: Bytes, seconds: Float64s | None = None) -> MidiLog:
    """Return a log of quarter frames, four a frame at 30 unless times are given."""
    times = np.arange(data.size) / 120 if seconds is None else seconds
    return MidiLog(times, data, (), 0, ())


def kinds(points: TimecodePoints) -> list[str]:
    """Return the kinds of the findings."""
    return [finding.kind for finding in points.findings]


@pytest.mark.parametrize("name", list(FRAME_RATES))
def test_whole_run_gives_a_point_a_message(name: str) -> None:
    """Every message of a run has its place, four to a frame, also before its first whole reading."""
    rate = FRAME_RATES[name]
    data = encode_quarter_stream(4 * 1795 + 3, 200, rate, first_reading=1)
    points = decode_quarter_frames(make_log(data), rate)
    assert np.array_equal(points.frames, 1795.75 + np.arange(200) / 4)
    assert points.heard == 200
    assert points.findings == ()


def test_midnight_runs_on() -> None:
    """Timecode that passes 24 hours goes on counting."""
    last = RATE.frames_per_day - 10
    data = encode_quarter_stream(4 * last, 80, RATE, first_reading=last)
    points = decode_quarter_frames(make_log(data), RATE)
    assert np.array_equal(points.frames, last + np.arange(80) / 4)


def test_missing_messages() -> None:
    """Where messages are missing the others keep their places."""
    data = encode_quarter_stream(400, 160, RATE)
    kept = np.ones(160, dtype=np.bool_)
    kept[[37, 38, 90]] = False
    points = decode_quarter_frames(make_log(data[kept], np.arange(160)[kept] / 120), RATE)
    places = points.frames * 4 - 400
    assert np.array_equal(places, np.rint(points.seconds * 120))
    assert places.size == 157


def test_repeated_messages() -> None:
    """Messages that come twice are used once, the earlier time, and told."""
    data = encode_quarter_stream(400, 80, RATE)
    times = np.arange(80) / 120
    log = make_log(np.repeat(data, 2), np.sort(np.concatenate((times, times + 0.001))))
    points = decode_quarter_frames(log, RATE)
    assert np.array_equal(points.seconds, times)
    assert "repeated" in kinds(points)


def test_garbled_reading_is_left_out() -> None:
    """A reading that its neighbours contradict gives no points, and is counted."""
    data = encode_quarter_stream(400, 160, RATE).copy()
    data[80 + 2] ^= 0x05
    points = decode_quarter_frames(make_log(data), RATE)
    assert np.array_equal(points.frames * 4 - 400, np.rint(points.seconds * 120))
    assert points.seconds.size == 159
    assert "unread" in kinds(points)


def test_jump_in_one_run() -> None:
    """Timecode that jumps between two readings gives points on both sides, each in its place."""
    data = np.concatenate((encode_quarter_stream(400, 80, RATE), encode_quarter_stream(8000, 80, RATE)))
    points = decode_quarter_frames(make_log(data), RATE)
    assert points.frames[79] == 100 + 79 / 4
    assert points.frames[80] == 2000
    assert points.frames.size == 160


def test_reverse_is_told_and_not_used() -> None:
    """Pieces in falling order are a tape that runs backwards: told with place and length, without points."""
    forward = encode_quarter_stream(400, 80, RATE)
    points = decode_quarter_frames(make_log(np.concatenate((forward, forward[::-1]))), RATE)
    assert points.frames.max() < 120
    assert points.reverse_seconds == pytest.approx(80 / 120)
    (finding,) = [finding for finding in points.findings if finding.kind == "reverse"]
    assert finding.seconds == pytest.approx(80 / 120, abs=1 / 120)


def test_only_reverse_is_refused() -> None:
    """A tape that only runs backwards cannot place a pass."""
    with pytest.raises(TimecodeLogError, match="only runs backwards"):
        decode_quarter_frames(make_log(encode_quarter_stream(400, 80, RATE)[::-1]), RATE)


def test_only_locates_are_refused() -> None:
    """Full frames are where a machine was sent; without quarter frames time never runs."""
    log = replace(make_log(np.zeros(0, dtype=np.uint8)), full_frames=(FullFrame(0.0, 1, 0, 0, 0, 3),))
    with pytest.raises(TimecodeLogError, match=r"1 full-frame messages .* give the pass a start"):
        decode_quarter_frames(log, RATE)


def test_locate_before_play_is_told() -> None:
    """A locate gives no point, and does not move those of the quarter frames."""
    log = replace(
        make_log(encode_quarter_stream(400, 80, RATE)), full_frames=(FullFrame(0.0, 2, 0, 0, 0, 3),)
    )
    points = decode_quarter_frames(log, RATE)
    assert points.frames[0] == 100
    assert kinds(points) == ["locate"]


def test_scattered_pieces_are_refused() -> None:
    """Without eight pieces in a row there is no reading."""
    data = encode_quarter_stream(400, 80, RATE)
    scattered = data[np.arange(80) % 7 != 0]
    with pytest.raises(TimecodeLogError, match="nowhere eight in a row"):
        decode_quarter_frames(make_log(scattered), RATE)


@pytest.mark.parametrize("name", ["29.97", "30"])
def test_code_of_30_is_right_for_2997(name: str) -> None:
    """A 29.97 stripe without drop goes under the code of 30 (MIDI knows no other): nothing to tell."""
    points = decode_quarter_frames(
        make_log(encode_quarter_stream(400, 80, FRAME_RATES[name])), FRAME_RATES[name]
    )
    assert points.rate_code == 3
    assert points.findings == ()


def test_contradicting_code_is_told() -> None:
    """Where log and sheet disagree both values are told, and the sheet is followed."""
    data = encode_quarter_stream(400, 80, FRAME_RATES["29.97df"])
    points = decode_quarter_frames(make_log(data), RATE)
    (finding,) = points.findings
    assert finding.kind == "rate_code"
    assert "30 drop frame" in finding.text
    assert "the sheet 30" in finding.text


def test_labels_the_rate_lacks_are_refused() -> None:
    """Readings of frame 25 and up, under a sheet of 24 frames, point at the sheet's frame_rate."""
    data = encode_quarter_stream(4 * 26, 8, RATE, first_reading=26)
    with pytest.raises(TimecodeLogError, match="check the sheet's frame_rate"):
        decode_quarter_frames(make_log(data), FRAME_RATES["24"])


def test_drop_frame_minute() -> None:
    """Over a minute at which labels are left out, frames run on without a hole."""
    rate = FRAME_RATES["29.97df"]
    first = parse_label("00:00:59;20", rate)
    data = encode_quarter_stream(4 * first, 160, rate, first_reading=first)
    points = decode_quarter_frames(make_log(data), rate)
    assert np.array_equal(points.frames, first + np.arange(160) / 4)
