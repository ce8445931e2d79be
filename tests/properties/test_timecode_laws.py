"""Laws of timecode: round trips for all rates, order kept, decoding undoes encoding."""

from __future__ import annotations

import io

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from assembler.timecode import (
    FRAME_RATES,
    FrameRate,
    MidiLog,
    decode_quarter_frames,
    encode_quarter_stream,
    format_label,
    frame_to_sample,
    parse_label,
    quarter_messages,
    read_midi_log,
    sample_to_frame,
    write_midi_log,
)

RATES = st.sampled_from(list(FRAME_RATES.values()))
# Frames anywhere, and often next to a whole minute, where drop frame leaves labels out.
FRAMES = st.one_of(
    st.integers(0, 5_000_000),
    st.builds(lambda minute, step: max(0, minute * 1798 + step), st.integers(0, 1440), st.integers(-5, 25)),
)
SAMPLE_RATES = st.sampled_from([44100, 48000, 88200, 96000])


@given(FRAMES, RATES)
@example(1800, FRAME_RATES["29.97df"])
@example(17982, FRAME_RATES["29.97df"])
def test_label_round_trip(frame: int, rate: FrameRate) -> None:
    """A frame's label names that frame again, within the day."""
    assert parse_label(format_label(frame, rate), rate) == frame % rate.frames_per_day


@given(FRAMES, RATES)
def test_labels_follow_each_other(frame: int, rate: FrameRate) -> None:
    """Within a day a later frame has a later label."""
    day = rate.frames_per_day
    if frame % day != day - 1:
        assert format_label(frame, rate) < format_label(frame + 1, rate)


@given(FRAMES, RATES, SAMPLE_RATES)
def test_sample_round_trip(frame: int, rate: FrameRate, sample_rate: int) -> None:
    """A frame holds its first sample and not the one before."""
    sample = frame_to_sample(frame, rate, sample_rate)
    assert sample_to_frame(sample, rate, sample_rate) == frame
    if sample:
        assert sample_to_frame(sample - 1, rate, sample_rate) == frame - 1


@given(st.integers(0, 5_000_000), RATES, SAMPLE_RATES)
def test_first_sample_is_the_nearest(frame: int, rate: FrameRate, sample_rate: int) -> None:
    """No sample is nearer to a frame's edge than the one it is given, in exact arithmetic."""
    edge = frame / rate.exact * sample_rate
    assert -1 <= 2 * (edge - frame_to_sample(frame, rate, sample_rate)) < 1


@given(st.integers(0, 4 * 2_000_000), st.integers(16, 120), st.integers(0, 7), RATES)
def test_decoding_undoes_encoding(first: int, count: int, reading: int, rate: FrameRate) -> None:
    """Any run of two readings or more gives each message its place, wherever it begins."""
    data = encode_quarter_stream(first, count, rate, first_reading=reading)
    log = MidiLog(np.arange(count) / (4 * float(rate.exact)), data, (), 0, ())
    points = decode_quarter_frames(log, rate)
    day = 4 * rate.frames_per_day
    assert np.array_equal(points.frames * 4, np.arange(first % day, first % day + count))


@given(
    st.lists(st.integers(0, 127), min_size=1, max_size=60),
    st.floats(0.0, 5.0),
    st.booleans(),
    st.sampled_from([1, 96, 960, 32767, 0xE728, 0xE250, 0xE8FF]),
)
def test_files_round_trip(data: list[int], step: float, escaped: bool, division: int) -> None:  # noqa: FBT001
    """Any messages at any times come back from a file, in order, to the nearest tick."""
    stream = io.BytesIO()
    seconds = np.arange(len(data), dtype=np.float64) * np.float64(step)
    messages = quarter_messages(np.array(data, dtype=np.uint8))
    write_midi_log(stream, seconds, messages, division=division, escaped=escaped)
    log = read_midi_log(io.BytesIO(stream.getvalue()), 48000)
    assert log.quarter_data.tolist() == data
    assert np.abs(log.quarter_seconds - seconds).max() <= log.tick_seconds / 2 * (1 + 1e-9)
