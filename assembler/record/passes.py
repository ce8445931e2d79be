"""A pass as it stands in the record: its files, where it lies, its clock, its flaws."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from assembler.record.values import Json, because_record, relative_path

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.aligner import AlignedPass, PassFlaw
    from assembler.sheet import Sheet


def pass_record(sheet: Sheet, one: AlignedPass, digests: Mapping[str, str | None]) -> dict[str, Json]:
    """Return a pass as plain values."""
    audio = one.imported.audio
    paths = [relative_path(sheet, file.path) for file in audio.files]
    record: dict[str, Json] = {
        "name": one.imported.name,
        "reel": one.imported.reel,
        "used": one.time_map is not None,
        "files": [
            {"path": path, "sha256": digests[path], "samples": file.info.frames}
            for path, file in zip(paths, audio.files, strict=True)
        ],
        "channels": [list(channel) for channel in audio.channels],
        "polarity": list(audio.polarity),
        "stretches": [
            {"pass_start": s.pass_start, "pass_end": s.pass_end, "timeline_start": s.timeline_start}
            for s in (one.time_map.stretches if one.time_map else ())
        ],
        "clock": _clock(sheet, one),
        "flaws": [_flaw(flaw) for flaw in one.flaws],
    }
    if one.imported.log is not None:
        path = relative_path(sheet, one.imported.log.path)
        record["log"] = {"path": path, "sha256": digests[path]}
    return record


def _clock(sheet: Sheet, one: AlignedPass) -> dict[str, Json]:
    position, fit = one.imported.position, one.imported.position.clock
    sample_ms = 1000 / sheet.session.sample_rate
    clock: dict[str, Json] = {
        "source": position.source,
        "sample_rate": one.imported.audio.sample_rate,
        "rate_ratio": 1.0,
        "uncertainty_samples": round(position.uncertainty_samples, 3),
        "uncertainty_ms": round(sample_ms * position.uncertainty_samples, 4),
    }
    if position.apart_samples is not None:
        clock["apart_samples"] = round(position.apart_samples, 3)
        clock["apart_ms"] = round(sample_ms * position.apart_samples, 4)
    if fit is not None:
        clock["common_samples"] = round(fit.common_samples, 3)
        clock["common_ms"] = round(sample_ms * fit.common_samples, 4)
        clock["rate_ratio"] = round(fit.rate_ratio, 9)
        clock["slope_ppm"] = round(fit.slope_ppm, 3)
        if math.isfinite(fit.slope_error_ppm):
            # Left out where the log is too short to tell a slope at all.
            clock["slope_error_ppm"] = round(fit.slope_error_ppm, 3)
        clock["jitter_ms"] = round(1000 * fit.jitter_seconds, 3)
        clock["missing_share"] = round(fit.missing_share, 6)
        clock["verdict"] = fit.verdict
        clock["stretches"] = [
            {
                "log_start": round(stretch.log_start, 6),
                "log_end": round(stretch.log_end, 6),
                "shift_samples": round(stretch.shift_samples, 3),
                "uncertainty_samples": round(stretch.uncertainty_samples, 3),
                "apart_samples": round(stretch.apart_samples, 3),
                "points": stretch.points,
            }
            for stretch in fit.stretches
        ]
        clock["residuals"] = [
            {"sample": one.sample, "low": round(one.low, 2), "high": round(one.high, 2)}
            for one in fit.residuals
        ]
    return clock


def _flaw(flaw: PassFlaw) -> dict[str, Json]:
    record: dict[str, Json] = {
        "kind": flaw.kind,
        "start": flaw.start,
        "end": flaw.end,
        "tracks": list(flaw.tracks),
        "cured": flaw.cured,
        "because": because_record(flaw.because.rule.value, flaw.because.nats),
    }
    if flaw.samples is not None:
        record["samples"] = flaw.samples
    return record
