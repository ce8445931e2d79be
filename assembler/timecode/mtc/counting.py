"""Whether labels are left out as drop frame leaves them out, shown by the labels themselves.

A rate code or a flag is one setting of a generator, and the sheet one line of a person. The labels are what tells: at
the start of a minute that is no tenth one, drop frame goes from frame 29 to frame 2, and other counts do not.

Source: SMPTE ST 12-1, drop-frame compensation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.findings import Finding
from assembler.timecode.labels import frames_to_labels

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s
    from assembler.timecode.labels import Labels
    from assembler.timecode.rates import FrameRate

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


@dataclass(frozen=True)
class Count:
    """What a log shows of whether it drops frames, against the sheet.

    Args:
        says: the log's own word that contradicts the sheet, as "the drop-frame flag is set"; None where it agrees.
        bearing: how many starts of minutes go as the sheet says.
        against: how many go otherwise.
        first_against: seconds in the log of the first of these; None where there is none.
    """

    says: str | None
    bearing: int
    against: int
    first_against: float | None = None

    @property
    def is_wrong(self) -> bool:
        """Whether the labels prove that the sheet counts otherwise than the log."""
        return self.against > self.bearing

    @property
    def bears_out(self) -> bool:
        """Whether the labels prove that the sheet counts as the log does."""
        return self.bearing > self.against


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


def weigh_count(minutes: MinutesPassed, says: str | None, rate: FrameRate) -> Count:
    """Return what labels show for and against a sheet; at a rate that drop frame is no question of, nothing.

    Args:
        minutes: what the labels show.
        says: as in `Count`.
        rate: of the sheet.
    """
    if rate.nominal != _NOMINAL_OF_DROP:
        return Count(says, 0, 0)
    against, bearing = (minutes.plain, minutes.dropped) if rate.drop else (minutes.dropped, minutes.plain)
    first = float(against[0]) if against.size else None
    return Count(says, int(bearing.size), int(against.size), first)


def tell_count(count: Count, rate: FrameRate) -> list[Finding]:
    """Return what a person should know of whether a log drops frames, against the sheet; nothing where all agree.

    A finding of the kind "count" needs a person. One of the kind "count_open" does too, unless another log of the
    session answers it: see `answer_count`.
    """
    says = count.says
    if rate.nominal != _NOMINAL_OF_DROP:
        return [] if says is None else [tell_contradiction(says, rate)]
    if count.is_wrong:
        word = "" if says is None else f"{says}, and "
        how = (
            "labels that drop frame leaves out are there"
            if rate.drop
            else "labels are left out as by drop frame"
        )
        text = f"{word}{how}, at {_tell_starts(count.against)}: {_tell_right(rate)}"
        return [Finding("count", count.first_against, text)]
    if says is None:
        return []
    if count.bears_out:
        return [tell_contradiction(says, rate, f"; its labels bear it out, at {_tell_starts(count.bearing)}")]
    is_split = count.bearing > 0
    shown = (
        "its labels count both ways" if is_split else "no minute begins here that would show which is right"
    )
    doubt = (
        f"; {shown}. If the stripe counts as "
        f"{_name_other(rate)}, correct frame_rate: places are off by two more frames with each minute"
    )
    return [tell_contradiction(says, rate, doubt, kind="count" if is_split else "count_open")]


def answer_count(says: str, rate: FrameRate, whose: str, shown: Count) -> Finding:
    """Return the finding that stands in place of an open one where another log answers it.

    Args:
        says: the word of the log whose count was open.
        rate: of the sheet.
        whose: the log that answers, in words.
        shown: what that one shows; it bears the sheet out or proves it wrong.
    """
    if shown.is_wrong:
        more = f"; no minute begins here, but {whose} proves it wrong: {_tell_right(rate)}"
        return tell_contradiction(says, rate, more, kind="count")
    return tell_contradiction(says, rate, f"; {whose} bears it out, at {_tell_starts(shown.bearing)}")


def tell_contradiction(says: str, rate: FrameRate, more: str = "", *, kind: str = "rate_code") -> Finding:
    """Return the finding that a log says one thing and the sheet another, and that the sheet is followed."""
    return Finding(kind, None, f"{says}, the sheet's frame_rate is {rate.name}: the sheet is followed{more}")


def count_left_out(before: int, after: int, rate: FrameRate) -> int:
    """Return how many frames a place by the sheet's count gains from one frame to a later one if that count is wrong.

    Drop frame read as plain labels gains two with each minute that is no tenth one; plain labels read as drop frame
    lose two.
    """
    days, frames = np.divmod(np.array([before, after]), rate.frames_per_day)
    labels = frames_to_labels(frames, rate)
    minutes = (days * 24 + labels.hours) * 60 + labels.minutes
    first, last = int(minutes[0]), int(minutes[1])
    starts = (last - last // 10) - (first - first // 10)
    return -_LEFT_OUT * starts if rate.drop else _LEFT_OUT * starts


def _name_other(rate: FrameRate) -> str:
    return "29.97 or 30" if rate.drop else "29.97df"


def _tell_right(rate: FrameRate) -> str:
    return f"the sheet's frame_rate {rate.name} should be {_name_other(rate)}"


def _tell_starts(minutes: int) -> str:
    return "the start of 1 minute" if minutes == 1 else f"the starts of {minutes} minutes"
