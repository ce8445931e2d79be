"""The clock fit: where a pass lies on the timeline, how surely, and what clock its log kept.

A capture is clocked from the tape, so pass samples follow tape time exactly: a *shift* is all there is to find, one
for each stretch between slips. The log may keep another clock, some ppm off; then log time and tape time agree only
where both start, at the pass's first sample, and the shift is the fitted line's value there. Messages are only ever
late, so the line runs along the prompt ones (see `lateness`); a stripe errs both ways, so it runs through the middle
(see `centring`). Slope and steps come from `fitting`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.clock.fits import LOG_CLOCK_SHARE, ClockDraft, ClockFit, ClockStretch, Residual
from assembler.timecode.clock.lateness.pools import find_pools
from assembler.timecode.clock.lateness.sharing import share_lateness
from assembler.timecode.clock.line.fitting import LineFit, fit_stretches
from assembler.timecode.clock.stretches import KNOWN_RATIOS, Stretches, sort_into_stretches
from assembler.timecode.clock.words import tell_slips, tell_verdict
from assembler.timecode.findings import Finding, shorten_findings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.timecode.clock.lateness.sharing import Shared
    from assembler.timecode.mtc.decoding import TimecodePoints
    from assembler.timecode.rates import FrameRate

# Smaller slips cannot be told from a clock's own wander, and no capture loses so little.
_LEAST_SLIP_SAMPLES: Final = 2.0
# A log's clock that wanders less than this share of the lateness is only a little unsteady.
_STEADY_SHARE: Final = 0.25


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
    told = tell_verdict(verdict, stretches.ratio, ratio, line, sample_rate, rate)
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
    findings = sorted((*draft.findings, *tell_slips(line, stretches)), key=_place)
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
        residuals=_describe_residuals(draft, shared),
    )


def _describe_residuals(draft: ClockDraft, shared: Shared) -> tuple[Residual, ...]:
    """Return by how much messages miss the settled line, in samples of the tape."""
    line, rate = draft.line, draft.sample_rate
    columns = line.residuals
    moved = (line.shared.heights - shared.heights)[columns.groups]
    rows = zip(
        np.rint(columns.seconds / draft.ratio * rate).astype(np.int64).tolist(),
        ((columns.low + moved) * rate).tolist(),
        ((columns.high + moved) * rate).tolist(),
        strict=True,
    )
    return tuple(Residual(*row) for row in rows)


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
    if fit.slope_error > LOG_CLOCK_SHARE:
        return "short"
    if fit.wander > _STEADY_SHARE * max(fit.logged.lateness.width, fit.logged.lateness.smear):
        return "drifting"
    if known not in KNOWN_RATIOS or abs(ratio / known - 1.0) >= LOG_CLOCK_SHARE:
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
