"""Drop-frame arithmetic against two libraries: timecode, and the time arithmetic of OpenTimelineIO.

Neither refuses a label that drop frame leaves out, so only labels that exist are compared.
"""

from __future__ import annotations

import opentimelineio as otio
import pytest
from timecode import Timecode  # type: ignore[attr-defined]  # the library lists no public names

from assembler.timecode import FRAME_RATES, format_label

# Every 997th frame of a day, and both sides of each minute of the first twenty.
FRAMES = [
    *range(0, 2589408, 9973),
    *(1800 * minute - 20 + step for minute in range(1, 20) for step in range(25)),
]
# How each library names a rate; the timecode library takes 29.97 for drop frame unless told.
NAMES = {"24": "24", "25": "25", "29.97df": "29.97", "30": "30"}


@pytest.mark.parametrize("name", list(NAMES))
def test_labels_agree_with_timecode(name: str) -> None:
    """The timecode library, which counts frames from one, prints the same labels."""
    rate = FRAME_RATES[name]
    for frame in FRAMES:
        if frame < rate.frames_per_day:
            assert str(Timecode(NAMES[name], frames=frame + 1)) == format_label(frame, rate)


@pytest.mark.parametrize("name", ["24", "25", "29.97", "29.97df", "30"])
def test_labels_agree_with_opentimelineio(name: str) -> None:
    """OpenTimelineIO prints the same labels, and reads them back as the same frame."""
    rate = FRAME_RATES[name]
    speed = float(rate.exact)
    for frame in FRAMES:
        if frame < rate.frames_per_day:
            label = otio.opentime.to_timecode(otio.opentime.RationalTime(frame, speed), speed, rate.drop)
            assert label == format_label(frame, rate)
            assert otio.opentime.from_timecode(label, speed).value == frame
