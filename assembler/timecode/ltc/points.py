"""Points for the clock fit from a stripe: four a frame, as quarter frames give them.

Each point is the middle of a quarter, the mean of the 21 edges around its cells: noise of single edges averages out,
and what happens inside a frame (samples lost) stays in its quarter. Nothing is late here, as MIDI messages are; errors
go both ways. Where every edge has the same place between two samples, all are off alike.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.errors import TimecodeLogError
from assembler.timecode.findings import OTHER_SOURCES, Finding, shorten_findings
from assembler.timecode.mtc.decoding import TimecodePoints

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s, Int64s
    from assembler.timecode.ltc.decoding import LtcLog

_QUARTERS: Final = 4
# A machine at play keeps its speed far better; one that starts, winds or is turned by hand does not.
_PLAY_SHARE: Final = 0.02
# How finely edges between samples can be reported: what a clean stripe leaves, scripts/bench/ltc_speed.py. It keeps the
# fit from taking the pattern in which edges fall between samples for a clock of its own.
_EDGE_STEP_SAMPLES: Final = 0.2
# By how much an edge is off for its place between two samples (standard deviation over places), and how much of that
# comes twice a sample; what is left where edges fall everywhere: scripts/bench/ltc_accuracy.py, edges of 40 us.
_PHASE_ERROR_SAMPLES: Final = (0.025, 0.006)
_LEAST_ERROR_SAMPLES: Final = 0.003
_QUARTER_CELLS: Final = 20


def ltc_points(log: LtcLog) -> TimecodePoints:
    """Return the points that a stripe gives where the tape played forwards at its usual speed.

    Raises:
        TimecodeLogError: the tape only ran backwards.
    """
    reverse_seconds, findings = _measure_reverse(log)
    playing = ~log.reverse
    if not playing.any():
        raise TimecodeLogError(f"the timecode only runs backwards ({reverse_seconds:.2f} s); {OTHER_SOURCES}")
    # Words count by how long they last: winding makes many in a short time.
    steady = np.abs(log.speeds / _typical(log.speeds[playing]) - 1.0) < _PLAY_SHARE
    findings += _tell_parts(log, playing & ~steady, "off_speed", "the tape ran at another speed")
    used = playing & steady
    frames = _run_on(log.frames[used], log.rate.frames_per_day)
    middles = (np.arange(_QUARTERS) + 0.5) / _QUARTERS
    return TimecodePoints(
        seconds=log.quarter_samples[used].ravel() / log.sample_rate,
        frames=(frames[:, None] + middles).ravel(),
        rate_code=None,
        heard=_QUARTERS * (log.frames.size + log.refused),
        reverse_seconds=reverse_seconds,
        tick_seconds=_EDGE_STEP_SAMPLES / log.sample_rate,
        findings=shorten_findings([*log.findings, *findings]),
        two_sided=True,
        common_error_seconds=_common_error(log, used) / log.sample_rate,
        count=log.count,
    )


def _common_error(log: LtcLog, used: Bools) -> float:
    """Return how far all points may be off alike, in samples: much where edges have one place between samples."""
    cells = np.abs(log.end_samples - log.start_samples)[used, None] / (_QUARTERS * _QUARTER_CELLS)
    quarters = log.quarter_samples[used]
    errors = [_LEAST_ERROR_SAMPLES]
    for times, size in enumerate(_PHASE_ERROR_SAMPLES, start=1):
        # The 21 edges of a quarter lie evenly about its middle; where they fall everywhere, they cancel.
        places = np.arange(_QUARTER_CELLS // 2 + 1)
        weights = np.where(places, 2.0, 1.0) / (_QUARTER_CELLS + 1)
        evenness = np.cos(2 * np.pi * times * cells * places) @ weights
        turns = np.exp(2j * np.pi * times * quarters) * evenness[:, None]
        errors.append(size * float(np.abs(np.mean(turns))))
    return float(np.linalg.norm(errors))


def _typical(speeds: Float64s) -> float:
    """Return the speed that held for half of the time or more, or else the middle one."""
    order = np.sort(speeds)
    times = np.cumsum(1.0 / order)
    return float(order[np.searchsorted(times, times[-1] / 2)])


def _run_on(frames: Int64s, day: int) -> Float64s:
    """Return frames that run on past midnight; the first day is the earliest."""
    unwrapped = np.unwrap(frames, period=day)
    return np.asarray(unwrapped - day * min(0, int(unwrapped.min()) // day), dtype=np.float64)


def _measure_reverse(log: LtcLog) -> tuple[float, list[Finding]]:
    seconds = float(np.sum((log.start_samples - log.end_samples)[log.reverse])) / log.sample_rate
    return seconds, _tell_parts(log, log.reverse, "reverse", "the tape ran backwards")


def _tell_parts(log: LtcLog, chosen: Bools, kind: str, what: str) -> list[Finding]:
    """Return a finding for each run of chosen words."""
    turns = np.flatnonzero(np.diff(chosen.astype(np.int8), prepend=0, append=0))
    findings = []
    for start, end in zip(turns[::2], turns[1::2], strict=True):
        places = np.concatenate((log.start_samples[start:end], log.end_samples[start:end])) / log.sample_rate
        text = f"{what} for {float(np.ptp(places)):.2f} s; not used"
        findings.append(Finding(kind, float(places.min()), text))
    return findings
