"""What a log and its tape say of each other: by one log alone, and settled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from assembler.timecode.clock.fitting import LineFit
    from assembler.timecode.findings import Finding
    from assembler.timecode.mtc.counting import Count

# Free-running clocks of computers stay within this (common practice, no source).
LOG_CLOCK_SHARE: Final = 200e-6


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
