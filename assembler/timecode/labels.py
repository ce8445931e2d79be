"""Timecode labels: hours, minutes, seconds, frames to the count of frames and back, dropped labels left out.

Source: SMPTE ST 12-1 (time and control code): drop-frame compensation.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.errors import TimecodeError
from assembler.timecode.rates import (
    DROPPED_PER_MINUTE,
    FRAMES_PER_DROP_MINUTE,
    FRAMES_PER_TEN_DROP_MINUTES,
    FrameRate,
)

if TYPE_CHECKING:
    from assembler.arrays import Bools, Int64s

_LABEL: Final = re.compile(r"([0-9]{2}):([0-9]{2}):([0-9]{2})([:;.])([0-9]{2})", re.ASCII)


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
        first = (labels.seconds == 0) & (labels.frames < DROPPED_PER_MINUTE)
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
        frames = frames - DROPPED_PER_MINUTE * (minutes - minutes // 10)
    return np.asarray(frames, dtype=np.int64)


def frames_to_labels(frames: Int64s, rate: FrameRate) -> Labels:
    """Return the label of each frame; the count starts again after 24 hours."""
    counted = np.asarray(frames, dtype=np.int64) % rate.frames_per_day
    if rate.drop:
        tens, rest = np.divmod(counted, FRAMES_PER_TEN_DROP_MINUTES)
        minutes_after_first = np.maximum(rest - DROPPED_PER_MINUTE, 0) // FRAMES_PER_DROP_MINUTE
        counted = counted + DROPPED_PER_MINUTE * (9 * tens + minutes_after_first)
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
