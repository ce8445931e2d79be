"""Frame rates; see `labels` and `samples` for what they are used for.

Conventions: a *frame* is an index, counted from the label 00:00:00:00 without leaving any out; a *label* is
hours, minutes, seconds and frames as people write it; a timeline *sample* is counted from the same moment.
Rates are fractions, so that nothing drifts. Drop-frame counting leaves out labels, never frames.

Source: SMPTE ST 12-1 (time and control code): nominal and 1000/1001 rates, drop-frame compensation.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from assembler.errors import TimecodeError

if TYPE_CHECKING:
    from collections.abc import Mapping

# Drop frame: labels ;00 and ;01 are left out at each minute, but not at each tenth minute.
DROPPED_PER_MINUTE: Final = 2
FRAMES_PER_DROP_MINUTE: Final = 1800 - DROPPED_PER_MINUTE
FRAMES_PER_TEN_DROP_MINUTES: Final = 18000 - 9 * DROPPED_PER_MINUTE


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
            return 144 * FRAMES_PER_TEN_DROP_MINUTES
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


RATES_BY_CODE: Final = ("24", "25", "29.97df", "30")
"""Names of the rates by MIDI rate code (MIDI Time Code, 1987); 29.97 without drop has no code and goes as 30."""


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
