"""Quarter frames decoded: what counts, what is left out, and what is told."""

from __future__ import annotations

import io
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
    read_csv_log,
)

if TYPE_CHECKING:
    from assembler.arrays import Bytes, Float64s
    from assembler.timecode import FrameRate

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
    assert points.reverse_seconds == pytest.approx(80 / 120, abs=1.1 / 120)
    (finding,) = [finding for finding in points.findings if finding.kind == "reverse"]
    assert finding.seconds == pytest.approx(80 / 120, abs=1 / 120)


def test_reverse_tells_where_the_tape_ran() -> None:
    """A tape that plays, is wound back slowly and plays again: the way back is told from label to label."""
    forward = encode_quarter_stream(4 * 30 * 3600, 480, RATE)
    data = np.concatenate((forward, forward[:-240:-1], forward[240:]))
    points = decode_quarter_frames(make_log(data), RATE)
    (finding,) = [finding for finding in points.findings if finding.kind == "reverse"]
    # Readings are told, which begin on even frames: the last is 01:00:03:28, the first 01:00:02:00.
    assert "from about 01:00:03:28 to 01:00:02:00" in finding.text
    assert finding.seconds == pytest.approx(4.0, abs=2 / 120)
    expected = np.concatenate((np.arange(480), np.arange(240, 480)))
    assert np.array_equal(np.sort(points.frames * 4 - 432000), np.sort(expected))


def test_reverse_with_holes_gives_no_points() -> None:
    """Messages missing while the tape runs backwards do not make a forward run of what is left."""
    forward = encode_quarter_stream(400, 240, RATE)
    kept = np.random.default_rng(7).random(240) > 0.2
    data = np.concatenate((forward, forward[::-1][kept]))
    seconds = np.concatenate((np.arange(240), 240 + np.arange(240)[kept])) / 120
    points = decode_quarter_frames(make_log(data, seconds), RATE)
    assert points.seconds.max() < 2.0 + 1 / 120
    assert points.reverse_seconds == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize("share", [0.1, 0.4])
def test_lost_messages_cost_only_themselves(share: float) -> None:
    """A log that lost a tenth or four tenths of its messages gives nearly every other one its place."""
    data = encode_quarter_stream(400, 2400, RATE)
    kept = np.random.default_rng(5).random(2400) > share
    seconds = np.arange(2400) / 120 + np.random.default_rng(6).uniform(0, 0.001, 2400)
    points = decode_quarter_frames(make_log(data[kept], seconds[kept]), RATE)
    assert np.array_equal(np.rint(points.frames * 4 - 400), np.floor(points.seconds * 120 + 1e-9))
    assert points.seconds.size > 0.97 * kept.sum()


@pytest.mark.parametrize("ratio", [44100 / 48000, 48000 / 44100])
def test_holes_are_counted_under_a_wrong_rate(ratio: float) -> None:
    """Missing messages are counted right though the log's clock is a tenth off, as with a mislabelled header."""
    data = encode_quarter_stream(400, 2400, RATE)
    kept = np.random.default_rng(5).random(2400) > 0.2
    points = decode_quarter_frames(make_log(data[kept], np.arange(2400)[kept] / 120 * ratio), RATE)
    assert np.array_equal(points.frames * 4 - 400, np.rint(points.seconds * 120 / ratio))


@pytest.mark.parametrize("held", [5, 9, 13, 17])
def test_messages_held_up_are_not_taken_for_lost_ones(held: int) -> None:
    """Messages that were held up for up to a seventh of a second and then let go at once keep their count."""
    data = encode_quarter_stream(400, 240, RATE)
    seconds = np.arange(240) / 120
    seconds[100 : 100 + held] = seconds[99 + held]
    points = decode_quarter_frames(make_log(data, seconds), RATE)
    assert np.array_equal(points.frames * 4 - 400, np.arange(240))


def test_a_jump_amid_holes_keeps_both_sides_apart() -> None:
    """Where timecode jumps by ten frames and messages are missing, no message is counted to the wrong side."""
    data = np.concatenate((encode_quarter_stream(400, 240, RATE), encode_quarter_stream(680, 240, RATE)))
    for hole in range(230, 250):
        kept = np.arange(480) != hole
        points = decode_quarter_frames(make_log(data[kept], np.arange(480)[kept] / 120), RATE)
        places = np.rint(points.seconds * 120)
        assert np.array_equal(points.frames * 4 - 400 - places, np.where(places < 240, 0, 40))


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
    """A code of drop frame under a sheet without it: both values are told, the sheet followed, a person asked."""
    data = encode_quarter_stream(400, 80, FRAME_RATES["29.97df"])
    points = decode_quarter_frames(make_log(data), RATE)
    (finding,) = points.findings
    assert finding.kind == "count_open"
    assert (
        "rate code is 2 (30 drop frame), the sheet's frame_rate is 30: the sheet is followed" in finding.text
    )
    assert "If the stripe counts as 29.97df, correct frame_rate" in finding.text


@pytest.mark.parametrize("sheet", ["29.97df", "30"])
def test_a_code_of_another_speed_is_no_question_of_drop_frame(sheet: str) -> None:
    """A code of 25 under a sheet of 30, whose speed the messages have: told, and nobody is asked."""
    data = encode_quarter_stream(400, 80, FRAME_RATES[sheet], 1)
    (finding,) = decode_quarter_frames(make_log(data), FRAME_RATES[sheet]).findings
    assert finding.kind == "rate_code"
    assert (
        finding.text
        == f"the log's rate code is 1 (25), the sheet's frame_rate is {sheet}: the sheet is followed"
    )


def test_times_that_fall_are_told_as_such() -> None:
    """A log whose times fall from message to message is not called a tape that runs backwards."""
    data = encode_quarter_stream(400, 80, RATE)
    rows = [f"{10 - index / 120:.6f},F1{byte:02X}" for index, byte in enumerate(data.tolist())]
    log = read_csv_log(io.BytesIO("\n".join(["seconds,bytes", *rows]).encode()), 48000)
    with pytest.raises(TimecodeLogError, match=r"log times fall .* first from 10.000 s to 9.992 s"):
        decode_quarter_frames(log, RATE)


def send(label: str, readings: int, counted: FrameRate, code: int | None = None) -> Bytes:
    """Return whole readings from a label on, as a stripe that counts so sends them."""
    first = parse_label(label, counted)
    return encode_quarter_stream(4 * first, 8 * readings, counted, code, first_reading=first)


@pytest.mark.parametrize("code", [2, 3])
@pytest.mark.parametrize("label", ["01:00:59:20", "01:00:59:21"])
@pytest.mark.parametrize("sheet", ["29.97", "30"])
def test_labels_left_out_prove_drop_frame(sheet: str, label: str, code: int) -> None:
    """Over a minute, labels show that a stripe drops frames where the sheet says not, whatever its rate code says."""
    data = send(label, 40, FRAME_RATES["29.97df"], code)
    points = decode_quarter_frames(make_log(data), FRAME_RATES[sheet])
    (finding,) = [finding for finding in points.findings if finding.kind in ("count", "rate_code")]
    assert finding.kind == "count"
    assert f"frame_rate {sheet} should be 29.97df" in finding.text
    assert ("rate code is 2" in finding.text) == (code == 2)
    assert finding.seconds == pytest.approx(40 / 120)


@pytest.mark.parametrize("code", [2, 3])
def test_labels_not_left_out_prove_no_drop_frame(code: int) -> None:
    """Over a minute, labels show that a stripe drops none where the sheet says so, whatever its rate code says."""
    data = send("01:00:59:20", 40, FRAME_RATES["29.97"], code)
    points = decode_quarter_frames(make_log(data), FRAME_RATES["29.97df"])
    (finding,) = [finding for finding in points.findings if finding.kind in ("count", "rate_code")]
    assert finding.kind == "count"
    assert "frame_rate 29.97df should be 29.97" in finding.text
    assert finding.seconds == pytest.approx(40 / 120)


@pytest.mark.parametrize(("sheet", "code"), [("29.97df", 3), ("29.97", 2), ("30", 2)])
def test_labels_over_a_minute_outweigh_the_rate_code(sheet: str, code: int) -> None:
    """Where labels count over a minute as the sheet says, a contradicting rate code is told and asks nobody."""
    points = decode_quarter_frames(
        make_log(send("01:00:59:20", 40, FRAME_RATES[sheet], code)), FRAME_RATES[sheet]
    )
    (finding,) = points.findings
    assert finding.kind == "rate_code"
    assert f"frame_rate is {sheet}: the sheet is followed; its labels bear it out" in finding.text


@pytest.mark.parametrize(("sheet", "other"), [("29.97", "29.97df"), ("29.97df", "29.97")])
def test_labels_that_count_both_ways_need_a_person(sheet: str, other: str) -> None:
    """A stripe of two counts, one minute of each, settles nothing, nor may another log settle it."""
    parts = [
        send("01:00:59:20", 40, FRAME_RATES[sheet], 2 if FRAME_RATES[other].drop else 3),
        send("01:02:59:20", 40, FRAME_RATES[other]),
    ]
    points = decode_quarter_frames(make_log(np.concatenate(parts)), FRAME_RATES[sheet])
    (finding,) = [finding for finding in points.findings if finding.kind in ("count", "count_open")]
    assert finding.kind == "count"
    assert "its labels count both ways" in finding.text


def test_a_tenth_minute_proves_nothing() -> None:
    """Over a tenth minute both counts go alike: nothing is claimed."""
    data = send("01:09:59:20", 40, FRAME_RATES["29.97df"])
    (finding,) = decode_quarter_frames(make_log(data), FRAME_RATES["29.97"]).findings
    assert "no minute begins here that would show which is right" in finding.text


def test_hours_over_23_are_named() -> None:
    """A label of hour 25 is refused with the label and what is allowed."""
    parts = [0, 0, 0, 0, 0, 0, 9, 7]
    data = np.array([piece << 4 | parts[piece] for piece in range(8)], dtype=np.uint8)
    with pytest.raises(TimecodeLogError, match=r"first 25:00:00:00 \(hours 25; allowed: 0 to 23\)"):
        decode_quarter_frames(make_log(data), RATE)


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
