"""``assembly.json``: the record that lets anybody compute every delivered sample again.

Its keys are documented in docs/record.md, and in the JSON schema beside this module. Numbers are written as they
are used: the correlation in the record is the one the fade was made with.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import os
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias, cast

from assembler import __version__
from assembler.epoch import epoch_date
from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner import AlignedPass, Edit, PassFlaw, Span, TrackEdit
    from assembler.consolidator.metering import TrackLevels
    from assembler.consolidator.tracks import WrittenTrack
    from assembler.importer import Held, Note
    from assembler.sheet import Reel, Sheet

Json: TypeAlias = "Mapping[str, Json] | Sequence[Json] | str | int | float | bool | None"

FORMAT = 1
SOFTWARE = f"capture-assembler {__version__}"


def record_of(
    sheet: Sheet, edit: Edit, digests: Mapping[str, str | None], written: Sequence[WrittenTrack] = ()
) -> dict[str, Json]:
    """Return the record as plain values.

    Args:
        sheet: the session.
        edit: what was decided.
        digests: SHA-256 of each capture and log by its path relative to the sheet's folder; None where it was
            not computed.
        written: the delivered files; empty for a check, which writes none.
    """
    session = sheet.session
    rate = frame_rate(session.frame_rate)
    files = {track.edit.track.number: track for track in written}
    return {
        "format": FORMAT,
        "program": SOFTWARE,
        "session": {
            "title": session.title,
            "sample_rate": session.sample_rate,
            "bit_depth": session.bit_depth,
            "frame_rate": session.frame_rate,
            "word_length": sheet.deliver.word_length,
            "date": session_date(sheet),
            "originator": session.originator,
            "reference": session.reference,
            "description": session.description,
        },
        "start": {
            "timecode": format_sample(edit.start_sample, rate, session.sample_rate),
            "sample": edit.start_sample,
        },
        "length": edit.length,
        "reels": [
            {"name": reel.name, "tracks": list(reel.tracks), "prepared": _prepared(reel)}
            for reel in sheet.reels
        ],
        "passes": [_pass(sheet, one, digests) for one in edit.passes],
        "tracks": [_track(track, files.get(track.track.number)) for track in edit.tracks],
        "uncured": [
            {
                "reel": place.reel,
                "track": place.track.name,
                "start": place.start,
                "end": place.end,
                "kind": place.kind,
                "timecode": format_sample(edit.start_sample + place.start, rate, session.sample_rate),
                "timecode_end": format_sample(edit.start_sample + place.end, rate, session.sample_rate),
                "passes": _held(place.held),
            }
            for place in edit.uncured
        ],
        "notes": [_note(note) for note in edit.notes],
        "sound": edit.is_sound,
    }


def record_text(record: Mapping[str, Json]) -> bytes:
    """Return the record as it is written: UTF-8, one blank deep, the same bytes for the same record."""
    return (json.dumps(record, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


def relative_path(sheet: Sheet, path: Path) -> str:
    """Return a capture's path relative to the sheet's folder, with ``/``; outside it, with ``..``.

    Never the path from the root: the record has to hold wherever sheet and captures are moved together.
    """
    return Path(os.path.relpath(path, sheet.folder)).as_posix()


def session_date(sheet: Sheet) -> str:
    """Return the sheet's date, else that of SOURCE_DATE_EPOCH, else nothing: never the clock's."""
    if sheet.session.date is not None:
        return sheet.session.date.isoformat()
    date = epoch_date()
    return date.isoformat() if date else ""


def _prepared(reel: Reel) -> dict[str, Json]:
    """Return a reel's transfer notes; dates and times as text."""
    return {
        key: value.isoformat() if isinstance(value, (dt.date, dt.time)) else cast("Json", value)
        for key, value in reel.prepared.items()
    }


def _pass(sheet: Sheet, one: AlignedPass, digests: Mapping[str, str | None]) -> dict[str, Json]:
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
    return clock


def _flaw(flaw: PassFlaw) -> dict[str, Json]:
    record: dict[str, Json] = {
        "kind": flaw.kind,
        "start": flaw.start,
        "end": flaw.end,
        "tracks": list(flaw.tracks),
        "cured": flaw.cured,
        "because": _because(flaw.because.rule.value, flaw.because.nats),
    }
    if flaw.samples is not None:
        record["samples"] = flaw.samples
    return record


def _because(rule: str, nats: float | None) -> dict[str, Json]:
    """Return the rule that decided, and its lead to one place."""
    return {"rule": rule, "nats": None if nats is None else round(nats, 1)}


def _track(edit: TrackEdit, written: WrittenTrack | None) -> dict[str, Json]:
    record: dict[str, Json] = {
        "number": edit.track.number,
        "name": edit.track.name,
        "reels": list(edit.track.tape_tracks),
        "spans": [_span(span) for span in edit.spans],
        "joins": [
            {
                "at": join.at,
                "fade": join.fade,
                "law": join.law,
                "correlation": join.correlation,
                "difference_peak": join.difference_peak,
            }
            for join in edit.joins
        ],
    }
    if written is not None:
        record["file"] = written.file
        record["audio_sha256"] = written.audio_sha256
        record["levels"] = levels_record(written.levels)
    return record


def _span(span: Span) -> dict[str, Json]:
    record: dict[str, Json] = {
        "start": span.start,
        "end": span.end,
        "pass": span.pass_name,
        "pass_start": span.pass_start if span.pass_name is not None else None,
    }
    if span.filled:
        record["filled"] = [
            {"pass": one.pass_name, "pass_start": one.pass_start, "at": [list(run) for run in one.at]}
            for one in span.filled
        ]
    return record


def levels_record(levels: TrackLevels) -> dict[str, Json]:
    """Return what was measured on a track as it stands in the record: to four places."""
    return {
        name: round(value, 4) if isinstance(value, float) else value for name, value in vars(levels).items()
    }


def _held(held: Sequence[Held]) -> list[Json]:
    return [
        {"pass": one.pass_name, "kind": one.kind, "text": one.text, "taken": one.is_taken} for one in held
    ]


def _note(note: Note) -> dict[str, Json]:
    record: dict[str, Json] = {
        "kind": note.kind,
        "pass": note.pass_name,
        "tracks": list(note.tracks),
        "start": note.start,
        "end": note.end,
        "text": note.text,
        "needs_a_person": note.needs_a_person,
    }
    if note.held:
        record["passes"] = _held(note.held)
    if note.rule:
        record["because"] = _because(note.rule, note.nats)
    if note.theme:
        record["theme"] = note.theme
        record["count"] = note.count
    return record
