"""Where timecode (or what stands for it) puts a pass on the timeline, before its audio is looked at."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.timecode import frame_rate

if TYPE_CHECKING:
    from assembler.sheet import Pass, Session
    from assembler.timecode import ClockFit, FrameRate


@dataclass(frozen=True)
class Asked:
    """What a source of timecode is asked: where it puts a pass on the timeline of a session.

    Args:
        session: for its rates.
        one: the pass.
        header_rate: the rate that the pass's own files are labelled with.
        offset: samples that the reel's timecode is offset by.
    """

    session: Session
    one: Pass
    header_rate: int
    offset: int

    @property
    def key(self) -> tuple[object, ...]:
        """All that the answer rests on, but for the source."""
        session = self.session
        rates = session.sample_rate, session.frame_rate, session.timecode_delay_ms
        return (*rates, self.one, self.offset, self.header_rate)

    @property
    def frame_rate(self) -> FrameRate:
        """The session's."""
        return frame_rate(self.session.frame_rate)

    @property
    def delay_seconds(self) -> float:
        """By how much timecode comes late: the pass's own word, else the session's."""
        own = self.one.timecode_delay_ms
        return (self.session.timecode_delay_ms if own is None else own) / 1000


@dataclass(frozen=True)
class CoarseSlip:
    """A change of shift that the timecode log shows.

    Args:
        pass_sample: where, to a fraction of a second.
        samples: change of the shift; positive where the capture lost samples.
        error_samples: how far the size may be off (two standard deviations).
        still_samples: pass samples from there on during which the tape did not play forward.
        doubt: pass range in which the place may lie.
        margin_samples: how much earlier the place is sure to be right, where the tape was played again.
    """

    pass_sample: int
    samples: int
    error_samples: float
    still_samples: int = 0
    doubt: tuple[int, int] = (0, 0)
    margin_samples: int = 0


@dataclass(frozen=True)
class Position:
    """Where a pass lies by its own log.

    Args:
        source: "mtc", "start", "bext" or "audio" (no position of its own).
        shift: timeline sample of the pass's first sample, a fraction allowed.
        uncertainty_samples: one standard deviation of ``shift``.
        slips: changes of the shift that the log shows.
        clock: how the log fits, where there is one.
        apart_samples: standard deviation of ``shift`` against passes whose logs were settled together with this
            one's, without what moves them all alike; None where there is no log.
    """

    source: str
    shift: float
    uncertainty_samples: float
    slips: tuple[CoarseSlip, ...] = ()
    clock: ClockFit | None = None
    apart_samples: float | None = None

    def shift_at(self, pass_sample: int) -> int:
        """Return the whole shift expected at a sample of the pass."""
        moved = sum(slip.samples for slip in self.slips if slip.pass_sample <= pass_sample)
        return round(self.shift) + moved


def search_doubt(first: Position, second: Position) -> float:
    """Return by how many samples the place of two passes against each other may be off by their logs.

    Six standard deviations, and what each log cannot tell for its ticks: the two may have been logged differently.
    """
    deviation = math.hypot(first.uncertainty_samples, second.uncertainty_samples)
    hidden = sum(one.clock.common_samples for one in (first, second) if one.clock is not None)
    return 6.0 * deviation + hidden
