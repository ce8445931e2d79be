"""What a wrong count does to places, against drop-frame labels counted one by one."""

from __future__ import annotations

import pytest

from assembler.timecode import FRAME_RATES, parse_label
from assembler.timecode.mtc.counting import count_left_out


@pytest.mark.parametrize("sheet", ["29.97", "30", "29.97df"])
@pytest.mark.parametrize(
    ("before", "after", "left_out"),
    [
        ("01:00:10:00", "01:00:50:00", 0),
        ("01:00:59:29", "01:01:00:02", 2),
        ("01:09:59:29", "01:10:00:00", 0),
        ("01:08:30:00", "01:11:30:00", 4),
        ("01:00:00:00", "02:00:00:00", 108),
        ("23:59:59:29", "24:00:00:00", 0),
        ("23:58:30:00", "24:01:30:00", 4),
    ],
)
def test_labels_left_out_between_two_places(sheet: str, before: str, after: str, left_out: int) -> None:
    """Two labels with each minute but the tenth, 108 an hour (SMPTE ST 12-1), on past midnight."""
    rate = FRAME_RATES[sheet]
    first, last = (_count(label, sheet) for label in (before, after))
    assert count_left_out(first, last, rate) == (-left_out if rate.drop else left_out)


def _count(label: str, sheet: str) -> int:
    rate = FRAME_RATES[sheet]
    if label.startswith("24"):
        return rate.frames_per_day + parse_label(label.replace("24", "00", 1), rate)
    return parse_label(label, rate)
