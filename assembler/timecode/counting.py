"""Whether labels are left out as drop frame leaves them out, shown by the labels themselves.

A rate code or a flag is one setting of a generator, and the sheet one line of a person. The labels are what tells: at
the start of a minute that is no tenth one, drop frame goes from frame 29 to frame 2, and other counts do not.

Source: SMPTE ST 12-1, drop-frame compensation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.messages import Finding

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s
    from assembler.timecode.rates import FrameRate, Labels

_NOMINAL_OF_DROP: Final = 30
_LEFT_OUT: Final = 2


@dataclass(frozen=True)
class MinutesPassed:
    """Starts of minutes in a log at which drop frame and other counts differ.

    Args:
        dropped: seconds in the log, one for each start at which labels are left out.
        plain: the same where none are.
    """

    dropped: Float64s
    plain: Float64s


def find_minutes(labels: Labels, follows: Bools, step: int, seconds: Float64s) -> MinutesPassed:
    """Return the starts of minutes that labels show.

    Args:
        labels: shape (n,) each, in order of place, whether or not any rate counts them.
        follows: shape (n - 1,), whether a label is known by its place to lie `step` frames from the one before it.
        step: frames, in either direction.
        seconds: shape (n,), the time of each label.
    """
    minutes = labels.hours * 60 + labels.minutes
    counted = (minutes * 60 + labels.seconds) * _NOMINAL_OF_DROP + labels.frames
    gone = np.abs(np.diff(counted))
    # A tape that runs backwards leaves the later minute first.
    begun = np.maximum(minutes[1:], minutes[:-1])
    passed = follows & (np.diff(minutes) != 0) & (begun % 10 != 0)
    return MinutesPassed(
        dropped=seconds[1:][passed & (gone == step + _LEFT_OUT)], plain=seconds[1:][passed & (gone == step)]
    )


def tell_count(minutes: MinutesPassed, says: str | None, rate: FrameRate) -> list[Finding]:
    """Return what a person should know of whether a log drops frames, against the sheet; nothing where all agree.

    Args:
        minutes: what the labels show.
        says: the log's own word that contradicts the sheet, as "the drop-frame flag is set"; None where it agrees.
        rate: of the sheet.
    """
    if rate.nominal != _NOMINAL_OF_DROP:
        return [] if says is None else [tell_contradiction(says, rate)]
    against, bearing = (minutes.plain, minutes.dropped) if rate.drop else (minutes.dropped, minutes.plain)
    right = "29.97 or 30" if rate.drop else "29.97df"
    if against.size > bearing.size:
        word = "" if says is None else f"{says}, and "
        how = (
            "labels that drop frame leaves out are there"
            if rate.drop
            else "labels are left out as by drop frame"
        )
        text = f"{word}{how}, at {_count(against.size)}: the sheet's frame_rate {rate.name} should be {right}"
        return [Finding("count", float(against[0]), text)]
    if says is None:
        return []
    if bearing.size:
        return [tell_contradiction(says, rate, f"; its labels bear it out, at {_count(bearing.size)}")]
    doubt = (
        f"; no minute begins here that would show which is right. If the stripe counts as {right}, correct "
        "frame_rate: places are off by two more frames with each minute"
    )
    return [replace(tell_contradiction(says, rate, doubt), kind="count")]


def tell_contradiction(says: str, rate: FrameRate, more: str = "") -> Finding:
    """Return the finding that a log says one thing and the sheet another, and that the sheet is followed."""
    return Finding(
        "rate_code", None, f"{says}, the sheet's frame_rate is {rate.name}: the sheet is followed{more}"
    )


def _count(minutes: int) -> str:
    return "the start of 1 minute" if minutes == 1 else f"the starts of {minutes} minutes"
