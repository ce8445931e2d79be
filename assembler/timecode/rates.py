"""Frame rates, timecode labels, and the samples that frames begin on.

Conventions: a *frame* is an index, counted from the label 00:00:00:00 without leaving any out; a *label* is
hours, minutes, seconds and frames as people write it; a timeline *sample* is counted from the same moment.
Rates are fractions, so that nothing drifts. Drop-frame counting leaves out labels, never frames.

Source: SMPTE ST 12-1 (time and control code): nominal and 1000/1001 rates, drop-frame compensation.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.errors import TimecodeError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.arrays import Bools, Int64s

# Drop frame: labels ;00 and ;01 are left out at each minute, but not at each tenth minute.
_DROPPED_PER_MINUTE: Final = 2
_FRAMES_PER_DROP_MINUTE: Final = 1800 - _DROPPED_PER_MINUTE
_FRAMES_PER_TEN_DROP_MINUTES: Final = 18000 - 9 * _DROPPED_PER_MINUTE

# The exact product in frames_to_samples must stay inside 64-bit integers.
_LARGEST_PRODUCT: Final = 2**62

_LABEL: Final = re.compile(r"([0-9]{2}):([0-9]{2}):([0-9]{2})([:;.])([0-9]{2})", re.ASCII)


@dataclass(frozen=True)
class FrameRate:
    """How timecode counts, and how fast.

    Args:
        name: as the sheet writes it.
        nominal: frames counted in a labelled second.
        drop: whether labels are left out so that the count keeps up with the clock.
        exact: frames in a real second.
    """

    name: str
    nominal: int
    drop: bool
    exact: Fraction

    @property
    def frames_per_day(self) -> int:
        """Frames from 00:00:00:00 until the label comes again."""
        if self.drop:
            return 144 * _FRAMES_PER_TEN_DROP_MINUTES
        return 86400 * self.nominal


FRAME_RATES: Final[Mapping[str, FrameRate]] = MappingProxyType(
    {
        rate.name: rate
        for rate in (
            FrameRate("24", 24, drop=False, exact=Fraction(24)),
            FrameRate("25", 25, drop=False, exact=Fraction(25)),
            FrameRate("29.97", 30, drop=False, exact=Fraction(30000, 1001)),
            FrameRate("29.97df", 30, drop=True, exact=Fraction(30000, 1001)),
            FrameRate("30", 30, drop=False, exact=Fraction(30)),
        )
    }
)


def frame_rate(name: str) -> FrameRate:
    """Return the rate of this name.

    Raises:
        TimecodeError: there is no such rate; the message names those there are.
    """
    try:
        return FRAME_RATES[name]
    except KeyError:
        allowed = ", ".join(FRAME_RATES)
        raise TimecodeError(f"frame rate {name!r} is not known; allowed: {allowed}") from None


@dataclass(frozen=True)
class Labels:
    """Timecode labels in their parts, four arrays of one shape."""

    hours: Int64s
    minutes: Int64s
    seconds: Int64s
    frames: Int64s

    def take(self, chosen: Bools) -> Labels:
        """Return the chosen labels."""
        return Labels(self.hours[chosen], self.minutes[chosen], self.seconds[chosen], self.frames[chosen])


def labels_exist(labels: Labels, rate: FrameRate) -> Bools:
    """Return for each label whether the rate counts it."""
    exist = np.ones(labels.frames.shape, dtype=np.bool_)
    limits = ((labels.hours, 24), (labels.minutes, 60), (labels.seconds, 60), (labels.frames, rate.nominal))
    for part, limit in limits:
        exist &= (part >= 0) & (part < limit)
    if rate.drop:
        first = (labels.seconds == 0) & (labels.frames < _DROPPED_PER_MINUTE)
        exist &= ~(first & (labels.minutes % 10 != 0))
    return exist


def describe_missing(labels: Labels, rate: FrameRate) -> str:
    """Return the first label that the rate does not count, and why; at least one must be so.

    Args:
        labels: shape (n,) each.
        rate: how labels count.
    """
    first = int(np.argmin(labels_exist(labels, rate)))
    hours, minutes, seconds, frames = (
        int(part[first]) for part in (labels.hours, labels.minutes, labels.seconds, labels.frames)
    )
    label = f"{hours:02}:{minutes:02}:{seconds:02}:{frames:02}"
    for name, value, limit in _limits(hours, minutes, seconds, frames, rate):
        if value >= limit:
            return f"{label} ({name} {value}; allowed: 0 to {limit - 1})"
    return f"{label} ({'left out by drop frame' if rate.drop else 'digits over 9'})"


def _limits(
    hours: int, minutes: int, seconds: int, frames: int, rate: FrameRate
) -> tuple[tuple[str, int, int], ...]:
    """Return the parts of a label with what each must stay below."""
    return (
        ("hours", hours, 24),
        ("minutes", minutes, 60),
        ("seconds", seconds, 60),
        ("frames", frames, rate.nominal),
    )


def labels_to_frames(labels: Labels, rate: FrameRate) -> Int64s:
    """Return the frame of each label; the labels must exist (see `labels_exist`)."""
    minutes = labels.hours * 60 + labels.minutes
    frames = (minutes * 60 + labels.seconds) * rate.nominal + labels.frames
    if rate.drop:
        frames = frames - _DROPPED_PER_MINUTE * (minutes - minutes // 10)
    return np.asarray(frames, dtype=np.int64)


def frames_to_labels(frames: Int64s, rate: FrameRate) -> Labels:
    """Return the label of each frame; the count starts again after 24 hours."""
    counted = np.asarray(frames, dtype=np.int64) % rate.frames_per_day
    if rate.drop:
        tens, rest = np.divmod(counted, _FRAMES_PER_TEN_DROP_MINUTES)
        minutes_after_first = np.maximum(rest - _DROPPED_PER_MINUTE, 0) // _FRAMES_PER_DROP_MINUTE
        counted = counted + _DROPPED_PER_MINUTE * (9 * tens + minutes_after_first)
    whole_seconds, frame = np.divmod(counted, rate.nominal)
    whole_minutes, second = np.divmod(whole_seconds, 60)
    hour, minute = np.divmod(whole_minutes, 60)
    return Labels(hour, minute, second, frame)


def parse_label(text: str, rate: FrameRate) -> int:
    """Return the frame that a label names.

    Args:
        text: ``hh:mm:ss:ff``; under drop frame ``;`` or ``.`` may stand before the frames.
        rate: how the label counts.

    Raises:
        TimecodeError: not a label, a part too large, or a label that drop frame leaves out.

    >>> parse_label("00:01:00;02", frame_rate("29.97df"))
    1800
    """
    match = _LABEL.fullmatch(text)
    if match is None:
        raise TimecodeError(f"{text!r} is not a timecode; written as hh:mm:ss:ff, two digits each")
    separator = match[4]
    hours, minutes, seconds, frames = (int(match[group]) for group in (1, 2, 3, 5))
    if separator != ":" and not rate.drop:
        raise TimecodeError(f"{text!r} is written as drop frame, but the rate is {rate.name} without drop")
    for name, value, limit in _limits(hours, minutes, seconds, frames, rate):
        if value >= limit:
            raise TimecodeError(f"{text!r}: {name} {value}, allowed at rate {rate.name}: 0 to {limit - 1}")
    labels = Labels(*(np.array([value], dtype=np.int64) for value in (hours, minutes, seconds, frames)))
    if not labels_exist(labels, rate)[0]:
        raise TimecodeError(f"{text!r} does not exist: drop frame leaves out frames 00 and 01 of this minute")
    return int(labels_to_frames(labels, rate)[0])


def format_label(frame: int, rate: FrameRate) -> str:
    """Return the label of a frame; it starts again after 24 hours, and has ``;`` under drop frame.

    >>> format_label(1800, frame_rate("29.97df"))
    '00:01:00;02'
    """
    labels = frames_to_labels(np.array([frame % rate.frames_per_day], dtype=np.int64), rate)
    separator = ";" if rate.drop else ":"
    whole_seconds = f"{labels.hours[0]:02}:{labels.minutes[0]:02}:{labels.seconds[0]:02}"
    return f"{whole_seconds}{separator}{labels.frames[0]:02}"


def parse_offset(text: str, rate: FrameRate) -> int:
    """Return a signed number of frames from a label with an optional sign, as ``-00:10:00:00``.

    Raises:
        TimecodeError: as `parse_label`.
    """
    sign = -1 if text.startswith("-") else 1
    return sign * parse_label(text[1:] if text[:1] in {"+", "-"} else text, rate)


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
