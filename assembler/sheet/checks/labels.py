"""The form of timecode labels, as far as a sheet's mistakes can be told from them.

Placing labels on the timeline is the business of ``assembler.timecode``; here a label is only found
well-formed, existing at its rate, and later than another. Labels read hh:mm:ss:ff; at 29.97 drop-frame the
last separator may also be ``;`` or ``.``, as is usual for drop-frame labels (common practice, no source).
"""

from __future__ import annotations

import re
from typing import Final

_LABEL = re.compile(r"([0-9]{2}):([0-9]{2}):([0-9]{2})([:;.])([0-9]{2})")

# Frames counted in a second: SMPTE ST 12-1. At 29.97 the count is that of 30.
_NOMINAL_RATES: Final = {"24": 24, "25": 25, "29.97": 30, "29.97df": 30, "30": 30}

# An end label before the start label is a session past midnight only if it is no longer than this: no tape of
# the kind holds half as much, so anything longer is two labels in the wrong order.
_LONGEST_PAST_MIDNIGHT_HOURS = 12


def label_fault(text: str, frame_rate: str, *, signed: bool = False) -> str | None:
    """Return what is wrong with a label, found and allowed; None for a good one.

    Args:
        text: the label.
        frame_rate: one of the five names that a sheet allows.
        signed: a leading ``+`` or ``-`` is allowed (an offset).
    Source: nominal counts and the labels that drop-frame leaves out, SMPTE ST 12-1.
    """
    match = _LABEL.fullmatch(text[1:] if signed and text[:1] in ("+", "-") else text)
    if match is None:
        return f"{'[-]' if signed else ''}hh:mm:ss:ff with two digits each"
    hours, minutes, seconds, frames = (int(match[group]) for group in (1, 2, 3, 5))
    nominal = _NOMINAL_RATES[frame_rate]
    if match[4] != ":" and frame_rate != "29.97df":
        return f'":" before the frames ("{match[4]}" says drop-frame, and frame_rate is "{frame_rate}")'
    if hours > 23 or minutes > 59 or seconds > 59 or frames >= nominal:
        return f'hours to 23, minutes and seconds to 59, frames to {nominal - 1} at frame_rate "{frame_rate}"'
    if frame_rate == "29.97df" and frames < 2 and seconds == 0 and minutes % 10:
        return "labels that exist: drop-frame has no frames 00 and 01 at a minute unless it is a tenth"
    return None


def is_after(end: str, start: str, frame_rate: str) -> bool:
    """Tell whether one good label can be the end of a stretch that starts at another, midnight allowed for.

    Equal labels cannot; an earlier one can if midnight lies between and the stretch is no longer than 12
    hours.
    """
    nominal = _NOMINAL_RATES[frame_rate]
    frames = _count(end, nominal) - _count(start, nominal)
    past_midnight = frames + 24 * 3600 * nominal
    return frames > 0 or (frames < 0 and past_midnight <= _LONGEST_PAST_MIDNIGHT_HOURS * 3600 * nominal)


def stretch_frames(start: str, end: str, frame_rate: str) -> tuple[int, int]:
    """Return the first frame of a stretch between good labels and the first one after it, on past midnight.

    Frames are counted as if drop-frame left none out: enough to tell which stretches overlap.
    """
    nominal = _NOMINAL_RATES[frame_rate]
    first, last = _count(start, nominal), _count(end, nominal)
    return first, last if last > first else last + 24 * 3600 * nominal


def _count(label: str, nominal: int) -> int:
    """Frames of a label as if none were dropped: enough to tell earlier from later."""
    hours, minutes, seconds, frames = (int(part) for part in re.split("[:;.]", label))
    return ((hours * 60 + minutes) * 60 + seconds) * nominal + frames
