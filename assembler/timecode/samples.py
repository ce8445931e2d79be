"""Frames to samples and back, and places on a day that begins again at midnight."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.errors import TimecodeError
from assembler.timecode.labels import format_label, parse_label

if TYPE_CHECKING:
    from fractions import Fraction

    from assembler.arrays import Int64s
    from assembler.timecode.rates import FrameRate

# The exact product in frames_to_samples must stay inside 64-bit integers.
_LARGEST_PRODUCT: Final = 2**62


def frames_to_samples(frames: Int64s, frame_rate: Fraction, sample_rate: int) -> Int64s:
    """Return the timeline sample on which each frame begins.

    Args:
        frames: shape (n,), frame indices, none negative.
        frame_rate: frames in a real second, exact.
        sample_rate: samples in a second.

    Returns:
        Shape (n,): the nearest sample; an edge half-way between two goes to the later. Whole-number
        arithmetic, so that no position drifts: 2 * frame * sample_rate * frame_rate.denominator < 2**62.

    Raises:
        TimecodeError: a frame is negative or too large for this; the message gives its index and value.

    Source: rates of SMPTE ST 12-1; the choice of the nearest sample is this project's own.

    >>> frames_to_samples(np.array([0, 1, 30]), Fraction(30000, 1001), 48000).tolist()
    [0, 1602, 48048]
    """
    counted = np.asarray(frames, dtype=np.int64)
    step = 2 * sample_rate * frame_rate.denominator
    wrong = np.flatnonzero((counted < 0) | (counted >= _LARGEST_PRODUCT // step))
    if wrong.size:
        place = int(wrong[0])
        largest = _LARGEST_PRODUCT // step - 1
        raise TimecodeError(f"frame {int(counted[place])} at index {place}; allowed: 0 to {largest}")
    samples = (counted * step + frame_rate.numerator) // (2 * frame_rate.numerator)
    return np.asarray(samples, dtype=np.int64)


def frame_to_sample(frame: int, rate: FrameRate, sample_rate: int) -> int:
    """Return the timeline sample on which a frame begins (see `frames_to_samples`).

    Raises:
        TimecodeError: the frame is negative or too large.
    """
    if abs(frame) >= _LARGEST_PRODUCT:
        raise TimecodeError(f"frame {frame} is too large")
    return int(frames_to_samples(np.array([frame], dtype=np.int64), rate.exact, sample_rate)[0])


def sample_to_frame(sample: int, rate: FrameRate, sample_rate: int) -> int:
    """Return the frame that holds a timeline sample: the last one that begins on it or before it.

    Raises:
        TimecodeError: the sample is negative.
    """
    if sample < 0:
        raise TimecodeError(f"sample {sample} lies before 00:00:00:00; allowed: 0 and up")
    # A frame f begins at or before the sample while 2 f sample_rate denominator < (2 sample + 1) numerator.
    edge = (2 * sample + 1) * rate.exact.numerator
    return -(-edge // (2 * sample_rate * rate.exact.denominator)) - 1


def format_sample(sample: int, rate: FrameRate, sample_rate: int) -> str:
    """Return the label of the frame that holds a timeline sample.

    Raises:
        TimecodeError: the sample is negative.
    """
    return format_label(sample_to_frame(sample, rate, sample_rate), rate)


def format_place(sample: int, rate: FrameRate, sample_rate: int) -> str:
    """Return a timeline sample as a label and, inside a frame, ``+`` and how many samples into it.

    Raises:
        TimecodeError: the sample is negative.

    >>> format_place(1700, frame_rate("30"), 48000)
    '00:00:00:01+100'
    """
    frame = sample_to_frame(sample, rate, sample_rate)
    rest = sample - frame_to_sample(frame, rate, sample_rate)
    return f"{format_label(frame, rate)}+{rest}" if rest else format_label(frame, rate)


def label_sample(text: str, rate: FrameRate, sample_rate: int) -> int:
    """Return the timeline sample on which the frame of a label begins, on the first day.

    Raises:
        TimecodeError: as `parse_label`.
    """
    return frame_to_sample(parse_label(text, rate), rate, sample_rate)


def day_samples(rate: FrameRate, sample_rate: int) -> int:
    """Return after how many samples labels begin again."""
    return round(rate.frames_per_day * sample_rate / rate.exact)


def nearest_day(sample: int, first: int, last: int, day: int) -> int:
    """Return a sample of the first day, or the same label a day later if that lies in a stretch or nearer to it.

    Args:
        sample: where the label is on the first day.
        first: first sample of the stretch.
        last: its last one.
        day: samples in a day.

    >>> nearest_day(5, first=90, last=130, day=100), nearest_day(80, first=90, last=130, day=100)
    (105, 80)
    """
    return min((sample, sample + day), key=lambda choice: max(first - choice, choice - last, 0))


def next_after(sample: int, start: int, day: int) -> int:
    """Return the first sample behind ``start`` that has the label of ``sample``, whole days apart.

    >>> next_after(5, start=95, day=100), next_after(195, start=80, day=100)
    (105, 95)
    """
    return start + 1 + (sample - start - 1) % day
