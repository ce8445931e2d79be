"""The clock fit: where a pass lies on the timeline, how surely, and what clock its log kept.

A capture is clocked from the tape, so pass samples follow tape time exactly: a *shift* is all there is to find, one
for each stretch between slips. The log may keep another clock, some ppm off; then log time and tape time agree only
where both start, at the pass's first sample, and the shift is the fitted line's value there. Messages are only ever
late, so the line runs along the prompt ones (see `lateness`); a stripe errs both ways, so it runs through the middle
(see `centring`). Slope and steps come from `fitting`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.fitting import LineFit, fit_stretches
from assembler.timecode.messages import OTHER_SOURCES, Finding, shorten_findings
from assembler.timecode.rates import FRAME_RATES
from assembler.timecode.sharing import find_pools, share_lateness
from assembler.timecode.stretches import KNOWN_RATIOS, Stretches, sort_into_stretches

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.timecode.counting import Count
    from assembler.timecode.mtc import TimecodePoints
    from assembler.timecode.rates import FrameRate
    from assembler.timecode.sharing import Shared

# Free-running clocks of computers stay within this (common practice, no source).
_LOG_CLOCK_SHARE: Final = 200e-6
# Smaller slips cannot be told from a clock's own wander, and no capture loses so little.
_LEAST_SLIP_SAMPLES: Final = 2.0
# A slip whose place is in more doubt than this (standard deviation) is told so.
_TOLD_PLACE_SECONDS: Final = 0.05
# A tape that is off by this share or more was played at another speed; clocks and rates are not off by so much.
_OTHER_SPEED_SHARE: Final = 0.01
# Frame rates that a stripe may have lie further apart than this, drop frame or not.
_SAME_RATE_SHARE: Final = 450e-6
_AGAIN: Final = "capture the tape again, clocked from the machine"
# A log's clock that wanders less than this share of the lateness is only a little unsteady.
_STEADY_SHARE: Final = 0.25


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


def draft_clock(
    points: TimecodePoints, rate: FrameRate, sample_rate: int, *, delay_seconds: float = 0.0
) -> ClockDraft:
    """Return what one log says by itself, to be settled together with others.

    Args:
        points: decoded timecode, at least one point.
        rate: of the sheet.
        sample_rate: samples in a second.
        delay_seconds: fixed delay of the timecode interface; subtracted.
    """
    stretches = sort_into_stretches(points, rate)
    line = fit_stretches(stretches, _LEAST_SLIP_SAMPLES / sample_rate)
    ratio = 1.0 / (1.0 / stretches.ratio - line.slope)
    verdict = _judge(stretches.ratio, ratio, line)
    told = _tell_verdict(verdict, stretches.ratio, ratio, line, sample_rate, rate)
    return ClockDraft(
        line=line,
        ratio=ratio,
        known_ratio=stretches.ratio,
        sample_rate=sample_rate,
        delay_seconds=delay_seconds,
        missing_share=_missing_share(stretches),
        verdict=verdict,
        findings=(*points.findings, *stretches.findings, *told),
        count=points.count,
    )


def settle_clocks(drafts: Sequence[ClockDraft]) -> list[ClockFit]:
    """Return where passes lie, given what their logs say together.

    Logs that came through one interface share its lateness: what coarse ticks hide of it then moves all passes alike,
    and not one against another. Logs whose lateness differs, or whose ticks do, are settled by themselves.

    Args:
        drafts: of logs of one kind; stripes and MIDI logs have no lateness in common.
    """
    fits: dict[int, ClockFit] = {}
    for pool in find_pools([draft.line.logged for draft in drafts]):
        members = [drafts[index] for index in pool.members]
        if len(members) == 1:
            fits[pool.members[0]] = _describe(members[0], members[0].line.shared, pool.lateness.softness)
            continue
        levels = [level for draft in members for level in draft.line.logged.levels]
        shared = share_lateness(levels, pool.lateness)
        start = 0
        for index, draft in zip(pool.members, members, strict=True):
            end = start + len(draft.line.spans)
            fits[index] = _describe(draft, shared.take(slice(start, end)), pool.lateness.softness)
            start = end
    return [fits[index] for index in range(len(drafts))]


def fit_clock(
    points: TimecodePoints, rate: FrameRate, sample_rate: int, *, delay_seconds: float = 0.0
) -> ClockFit:
    """Return where a lone pass lies on the timeline, and what clock its log kept; see `draft_clock`."""
    return settle_clocks([draft_clock(points, rate, sample_rate, delay_seconds=delay_seconds)])[0]


def _describe(draft: ClockDraft, shared: Shared, softness: float) -> ClockFit:
    line, sample_rate = draft.line, draft.sample_rate
    stretches = tuple(_describe_stretch(draft, shared, index) for index in range(len(line.spans)))
    findings = sorted((*draft.findings, *_tell_slips(line, stretches)), key=_place)
    return ClockFit(
        stretches=stretches,
        slope_ppm=1e6 * (1.0 / (1.0 / draft.known_ratio - line.measured_slope) - 1.0),
        slope_error_ppm=1e6 * line.slope_error,
        jitter_seconds=float(np.hypot(shared.width, softness)),
        missing_share=draft.missing_share,
        verdict=draft.verdict,
        rate_ratio=draft.ratio,
        common_samples=(line.logged.tick + softness) / 2 * sample_rate,
        findings=shorten_findings(findings),
    )


def _describe_stretch(draft: ClockDraft, shared: Shared, index: int) -> ClockStretch:
    line, span = draft.line, draft.line.spans[index]
    # A shift cannot hold for all of a stretch along which tape and pass drift apart.
    drift = abs(line.slope) * (span.end - span.start) if draft.verdict == "drifting" else 0.0
    uncertainty, apart = (
        float(np.linalg.norm((errors[index], line.wander, drift))) * draft.sample_rate
        for errors in (shared.errors, shared.apart_errors)
    )
    shift = draft.delay_seconds / draft.known_ratio - float(shared.heights[index])
    return ClockStretch(
        log_start=span.start,
        log_end=span.end,
        shift_samples=shift * draft.sample_rate,
        uncertainty_samples=uncertainty,
        apart_samples=apart,
        points=span.messages,
        start_error_seconds=span.start_error,
    )


def _place(finding: Finding) -> float:
    return -np.inf if finding.seconds is None else finding.seconds


def _judge(known: float, ratio: float, fit: LineFit) -> str:
    if fit.slope_error > _LOG_CLOCK_SHARE:
        return "short"
    if fit.wander > _STEADY_SHARE * max(fit.logged.lateness.width, fit.logged.lateness.smear):
        return "drifting"
    if known not in KNOWN_RATIOS or abs(ratio / known - 1.0) >= _LOG_CLOCK_SHARE:
        return "drifting"
    if known != 1.0:
        return "relabel"
    return "locked" if fit.slope == 0.0 else "log-clock"


def _missing_share(stretches: Stretches) -> float:
    """Return the share of quarter frames missing between the ends of each stretch that the log itself tells."""
    first = np.flatnonzero(np.diff(stretches.groups, prepend=-1))
    last = np.append(first[1:], stretches.groups.size) - 1
    expected = float(np.sum(4.0 * (stretches.frames[last] - stretches.frames[first]) + 1.0))
    return max(0.0, 1.0 - stretches.frames.size / expected) if expected > 0 else 0.0


def _tell_slips(line: LineFit, stretches: Sequence[ClockStretch]) -> list[Finding]:
    findings = []
    for span, before, after in zip(line.spans[1:], stretches, stretches[1:], strict=False):
        if not span.by_slip:
            continue
        samples = after.shift_samples - before.shift_samples
        what = "lost" if samples > 0 else "repeated"
        text = f"about {abs(samples):.0f} samples {what}: the shift changes by {samples:+.1f} samples"
        if span.start_error > _TOLD_PLACE_SECONDS:
            text += f"; its place is known to {2.0 * span.start_error:.1f} s either way"
        findings.append(Finding("slip", span.start, text))
    return findings


def _tell_verdict(
    verdict: str, known: float, ratio: float, fit: LineFit, sample_rate: int, rate: FrameRate
) -> list[Finding]:
    ppm = 1e6 * (ratio - 1.0)
    error = f"{1e6 * fit.slope_error:.2g} ppm"
    if verdict == "log-clock":
        text = f"the log's clock runs {ppm:+.2f} ppm (give or take {error}) against the tape; allowed for"
        return [Finding("log_clock", None, text)]
    if verdict == "relabel":
        return [Finding("mislabelled", None, _tell_known(known, ratio, sample_rate, rate))]
    if verdict == "drifting":
        if abs(ratio - 1.0) >= _OTHER_SPEED_SHARE:
            return [Finding("not_clocked", None, _tell_speed(ratio, rate))]
        wander = f"wanders by {fit.wander * sample_rate:.1f} samples"
        how = wander if abs(ppm) < 1e6 * _LOG_CLOCK_SHARE else f"runs {ppm:+.0f} ppm off"
        text = (
            f"tape against log {how}: the capture was not clocked from the tape, or the log's clock is unsteady; "
            f"{_AGAIN}"
        )
        return [Finding("not_clocked", None, text)]
    if verdict == "short":
        doubt = f" (give or take {error})" if np.isfinite(fit.slope_error) else ""
        return [Finding("short", None, f"too little timecode to tell its speed{doubt}")]
    return []


def _tell_known(known: float, ratio: float, sample_rate: int, rate: FrameRate) -> str:
    what = f"rate ratio {ratio:.6f}: {KNOWN_RATIOS[known]}"
    check = "check the sheet's frame_rate and sample_rate"
    if abs(known - 1.0) > _OTHER_SPEED_SHARE:
        material = round(sample_rate * known)
        if material % 44100 * (material % 48000) == 0:
            check = f"if so, set sample_rate = {material} in the sheet and relabel = true on the pass"
        return f"{what}; {check}, else {_AGAIN}"
    cause = f"a clock {'slow' if known > 1.0 else 'fast'} by as much"
    if names := _name_rates(known, rate):
        cause = f"{names} frames a second where the sheet says {rate.name}, or {cause}"
        check = f"if the stripe is such, set frame_rate = {names}"
    return f"{what}: {cause}; {check}, else {_AGAIN}"


def _name_rates(ratio: float, rate: FrameRate) -> str:
    """Return the rates that a stripe would have whose log takes so many seconds for one of the sheet's rate."""
    exact = float(rate.exact) / ratio
    return " or ".join(
        other.name
        for other in FRAME_RATES.values()
        if abs(exact / float(other.exact) - 1.0) < _SAME_RATE_SHARE
    )


def _tell_speed(ratio: float, rate: FrameRate) -> str:
    names = _name_rates(ratio, rate)
    other = (
        f", or striped with {names} frames a second and not {rate.name}: then correct frame_rate"
        if names
        else ""
    )
    return (
        f"the tape was played at {1.0 / ratio:.2f} times its speed{other}. "
        "Only the beginning of the pass is in its place. Capture the tape again at play speed; if only the log was "
        f"made at another speed, {OTHER_SOURCES}"
    )
