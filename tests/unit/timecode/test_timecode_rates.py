"""Labels, offsets and samples at the edges."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.errors import TimecodeError
from assembler.timecode import (
    FRAME_RATES,
    format_label,
    format_place,
    format_sample,
    frame_rate,
    frame_to_sample,
    frames_to_samples,
    parse_label,
    parse_offset,
    sample_to_frame,
)


def test_unknown_rate_names_those_there_are() -> None:
    """A rate that is not one of the five is refused with all of them."""
    with pytest.raises(TimecodeError, match=r"allowed: 24, 25, 29\.97, 29\.97df, 30"):
        frame_rate("23.976")


@pytest.mark.parametrize(
    ("text", "rate", "words"),
    [
        ("24:00:00:00", "25", "hours 24"),
        ("00:60:00:00", "25", "minutes 60"),
        ("00:00:60:00", "25", "seconds 60"),
        ("00:00:00:25", "25", "frames 25, allowed at rate 25: 0 to 24"),
        ("00:00:00;00", "30", "written as drop frame"),
        ("1:00:00:00", "30", "is not a timecode"),
        ("01:00:00:00\n", "30", "is not a timecode"),
        ("", "30", "is not a timecode"),
    ],
)
def test_bad_labels(text: str, rate: str, words: str) -> None:
    """A bad label is refused, naming the part at fault and what is allowed."""
    with pytest.raises(TimecodeError, match=words):
        parse_label(text, FRAME_RATES[rate])


def test_labels_start_again_at_midnight() -> None:
    """The frame after the last of a day has the day's first label."""
    for rate in FRAME_RATES.values():
        assert format_label(rate.frames_per_day, rate)[:8] == "00:00:00"
        assert format_label(rate.frames_per_day - 1, rate)[:8] == "23:59:59"


def test_offsets_have_a_sign() -> None:
    """An offset counts frames either way."""
    rate = FRAME_RATES["30"]
    assert parse_offset("-00:10:00:00", rate) == -18000
    assert parse_offset("+00:00:01:00", rate) == parse_offset("00:00:01:00", rate) == 30


def test_halves_go_up() -> None:
    """At 24 frames and 44.1 kHz every second frame begins between two samples; it goes to the later."""
    samples = frames_to_samples(np.array([0, 1, 2, 3]), FRAME_RATES["24"].exact, 44100)
    assert samples.tolist() == [0, 1838, 3675, 5513]


def test_frame_that_holds_a_sample() -> None:
    """The sample before a frame's first belongs to the frame before."""
    rate = FRAME_RATES["29.97df"]
    for frame in (1, 2, 3, 17982):
        first = frame_to_sample(frame, rate, 48000)
        assert sample_to_frame(first, rate, 48000) == frame
        assert sample_to_frame(first - 1, rate, 48000) == frame - 1


def test_sample_as_label() -> None:
    """A sample is told by its frame's label, or with the samples inside the frame."""
    rate = FRAME_RATES["30"]
    assert format_sample(172816811, rate, 48000) == "01:00:00:10"
    assert format_place(172816811, rate, 48000) == "01:00:00:10+811"
    assert format_place(172816000, rate, 48000) == "01:00:00:10"


@pytest.mark.parametrize("frame", [-1, 2**61])
def test_frames_out_of_reach(frame: int) -> None:
    """A frame for which the arithmetic would not be exact is refused."""
    with pytest.raises(TimecodeError, match="allowed"):
        frame_to_sample(frame, FRAME_RATES["30"], 48000)


def test_negative_sample() -> None:
    """There is no frame before the timeline's start."""
    with pytest.raises(TimecodeError, match="before 00:00:00:00"):
        sample_to_frame(-1, FRAME_RATES["30"], 48000)
