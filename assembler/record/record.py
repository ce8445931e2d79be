"""``assembly.json``: the record that lets anybody compute every delivered sample again.

Its keys are documented in docs/record.md, and in the JSON schema beside this module. Numbers are written as they
are used: the correlation in the record is the one the fade was made with.
"""

from __future__ import annotations

import datetime as dt
import json
from typing import TYPE_CHECKING, cast

from assembler.record.passes import pass_record
from assembler.record.values import FORMAT, SOFTWARE, Json, because_record, session_date
from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner import Edit, Span, TrackEdit
    from assembler.record.written import TrackLevels, WrittenTrack
    from assembler.sheet import Reel, Session, Sheet
    from assembler.verdict.notes import Held, Note
    from assembler.verdict.signed import Acceptance, UnrecordedStretch
    from assembler.verdict.states import TrackStates


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
            {
                "name": reel.name,
                "tracks": list(reel.tracks),
                "prepared": _prepared(reel),
                "bit_depth": edit.words[reel.name].bit_depth,
                "bits_in_use": edit.words[reel.name].bits_in_use,
                "states": [_states(track) for track in edit.states.get(reel.name, ())],
            }
            for reel in sheet.reels
        ],
        "passes": [pass_record(sheet, one, digests) for one in edit.passes],
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
                **_word(place.accepted),
            }
            for place in edit.uncured
        ],
        "accepted": [
            {
                **stretch_record(one, edit, session),
                "take": one.take,
                "passes": list(one.known),
                "reason": one.reason,
                "by": one.by,
                "void": [{"track": track, "passes": list(names)} for track, names in one.news.items()],
            }
            for one in edit.accepted
        ],
        "unrecorded": [stretch_record(one, edit, session) for one in edit.unrecorded],
        "notes": [_note(note) for note in edit.notes],
        "sound": edit.is_sound,
    }


def stretch_record(one: Acceptance | UnrecordedStretch, edit: Edit, session: Session) -> dict[str, Json]:
    """Return a stretch that the sheet names as it stands in the record: cut to the set, of no length outside."""
    rate = frame_rate(session.frame_rate)
    start, end = (min(max(0, at - edit.start_sample), edit.length) for at in (one.start, one.end))
    return {
        "reel": one.reel,
        "start": start,
        "end": end,
        "timecode": format_sample(one.start, rate, session.sample_rate),
        "timecode_end": format_sample(one.end, rate, session.sample_rate),
        "tracks": list(one.tracks),
    }


def record_text(record: Mapping[str, Json]) -> bytes:
    """Return the record as it is written: UTF-8, one blank deep, the same bytes for the same record."""
    return (json.dumps(record, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


def _prepared(reel: Reel) -> dict[str, Json]:
    """Return a reel's transfer notes; dates and times as text."""
    return {
        key: value.isoformat() if isinstance(value, (dt.date, dt.time)) else cast("Json", value)
        for key, value in reel.prepared.items()
    }


def _states(track: TrackStates) -> dict[str, Json]:
    return {
        "track": track.track,
        "stretches": [
            {"start": one.start, "end": one.end, "state": one.state.value} for one in track.stretches
        ],
    }


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


def _word(one: Acceptance | None) -> dict[str, Json]:
    return {} if one is None else {"accepted": {"by": one.by, "reason": one.reason}}


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
    record |= _word(note.accepted)
    if note.held:
        record["passes"] = _held(note.held)
    if note.rule:
        record["because"] = because_record(note.rule, note.nats)
    if note.theme:
        record["theme"] = note.theme
        record["count"] = note.count
    return record
