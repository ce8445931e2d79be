"""What a log and its tape say of each other: by one log alone, and settled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int64s
    from assembler.timecode.clock.line.fitting import LineFit
    from assembler.timecode.findings import Finding
    from assembler.timecode.mtc.counting import Count

# Free-running clocks of computers stay within this (common practice, no source).
LOG_CLOCK_SHARE: Final = 200e-6


# So many points draw what any log shows; an hour of messages has half a million.
MOST_RESIDUALS: Final = 400


@dataclass(frozen=True)
class Residuals:
    """By how much the messages of a log miss its line, in columns of messages in a row.

    Args:
        seconds: shape (columns,), log time of the first one.
        groups: shape (columns,), its stretch.
        low: shape (columns,), seconds, the least; positive where a message comes late.
        high: shape (columns,), the most.
    """

    seconds: Float64s
    groups: Int64s
    low: Float64s
    high: Float64s

    @classmethod
    def of(cls, seconds: Float64s, groups: Int64s, missed: Float64s) -> Residuals:
        """Return the columns of all messages; none holds two stretches, unless there are too many of these.

        Args:
            seconds: shape (n,), log time of each message, at least one.
            groups: shape (n,), its stretch.
            missed: shape (n,), seconds.
        """
        borders = np.flatnonzero(np.diff(groups, prepend=-1))
        if borders.size > MOST_RESIDUALS // 2:
            borders = borders[:1]
        step = -(-groups.size // (MOST_RESIDUALS - borders.size))
        starts = np.union1d(borders, np.arange(0, groups.size, step))
        low, high = (reduce.reduceat(missed, starts) for reduce in (np.minimum, np.maximum))
        return cls(seconds[starts], groups[starts], low, high)


@dataclass(frozen=True)
class Residual:
    """A column of `Residuals` as it is reported: where it begins, and from where to where its messages miss the place.

    Args:
        sample: pass sample of the first message.
        low: samples, the least; positive where a message comes late.
        high: samples, the most.
    """

    sample: int
    low: float
    high: float


@dataclass(frozen=True)
class ClockStretch:
    """A part of the log over which nothing was lost or repeated.

    Args:
        log_start: log seconds of its first point.
        log_end: log seconds of its last point; log seconds over `rate_ratio` are seconds of the pass.
        shift_samples: timeline sample = pass sample + shift.
        uncertainty_samples: standard deviation of the shift.
        apart_samples: the same against stretches of passes that were fitted together, without what moves them all
            alike.
        points: messages it rests on.
        start_error_seconds: how far off its beginning may be (standard deviation), where that is a slip.
    """

    log_start: float
    log_end: float
    shift_samples: float
    uncertainty_samples: float
    apart_samples: float
    points: int
    start_error_seconds: float = 0.0


@dataclass(frozen=True)
class ClockFit:
    """How a log's clock, the tape and the pass go together.

    Args:
        stretches: in order of log time; at least one.
        slope_ppm: how much faster than timecode the log's clock runs, in parts per million.
        slope_error_ppm: standard deviation of the slope.
        jitter_seconds: how late ordinary messages come, at most.
        missing_share: share of quarter frames that are missing, 0 to 1.
        verdict: "locked" (slope one), "log-clock" (the log's own clock, told and allowed for), "relabel" (a
            known wrong rate), "drifting" (not clocked from the tape), or "short" (too little to tell the speed).
        rate_ratio: log seconds per tape second; 1 where the slope is one within its error.
        common_samples: what the log cannot tell and passes logged alike share: half a tick, since recorders
            differ in how they round, and where lateness is soft half of that, since it has no edge to begin at.
            Not part of a stretch's uncertainty.
        findings: in order of place.
        residuals: by how much messages miss the place; at most `MOST_RESIDUALS`, in order.
    """

    stretches: tuple[ClockStretch, ...]
    slope_ppm: float
    slope_error_ppm: float
    jitter_seconds: float
    missing_share: float
    verdict: str
    rate_ratio: float
    common_samples: float
    findings: tuple[Finding, ...]
    residuals: tuple[Residual, ...]


@dataclass(frozen=True)
class ClockDraft:
    """What one log says by itself; small, so that many can be kept until all are read.

    Args:
        line: the line through its deviations.
        ratio: log seconds per tape second.
        known_ratio: the one of `KNOWN_RATIOS` that the line was laid over.
        sample_rate: samples in a second.
        delay_seconds: fixed delay of the timecode interface.
        missing_share: share of quarter frames that are missing.
        verdict: as in `ClockFit`.
        findings: all but the slips.
        count: what the log shows of whether it drops frames; None if that was not looked at.
    """

    line: LineFit
    ratio: float
    known_ratio: float
    sample_rate: int
    delay_seconds: float
    missing_share: float
    verdict: str
    findings: tuple[Finding, ...]
    count: Count | None = None
