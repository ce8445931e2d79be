"""What a clock fit tells, in an engineer's words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.clock.fits import LOG_CLOCK_SHARE, ClockStretch
from assembler.timecode.clock.stretches import KNOWN_RATIOS
from assembler.timecode.findings import OTHER_SOURCES, Finding
from assembler.timecode.rates import FRAME_RATES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.timecode.clock.line.fitting import LineFit
    from assembler.timecode.rates import FrameRate

# A slip whose place is in more doubt than this (standard deviation) is reported so.
_TOLD_PLACE_SECONDS: Final = 0.05
# A tape that is off by this share or more was played at another speed; clocks and rates are not off by so much.
_OTHER_SPEED_SHARE: Final = 0.01
# Frame rates that a stripe may have lie further apart than this, drop frame or not.
_SAME_RATE_SHARE: Final = 450e-6
_AGAIN: Final = "if the tape can stand another play, capture it again, clocked from the machine"


def tell_slips(line: LineFit, stretches: Sequence[ClockStretch]) -> list[Finding]:
    """Return what is reported of each slip of a log."""
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


def tell_verdict(
    verdict: str, known: float, ratio: float, fit: LineFit, sample_rate: int, rate: FrameRate
) -> list[Finding]:
    """Return what is reported of the clock that a log kept."""
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
        how = wander if abs(ppm) < 1e6 * LOG_CLOCK_SHARE else f"runs {ppm:+.0f} ppm off"
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
        "Only the beginning of the pass is in its place. If the tape can stand another play, capture it again at play "
        f"speed; if only the log was made at another speed, {OTHER_SOURCES}"
    )
