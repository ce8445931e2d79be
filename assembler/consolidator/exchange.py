"""The edit for other programs: ``joins.csv`` for a spreadsheet, ``timeline.otio`` for OpenTimelineIO readers."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from assembler.consolidator.record import relative_path
from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from assembler.aligner import Edit, Span, TrackEdit
    from assembler.sheet import Sheet

JOIN_COLUMNS = (
    "track", "number", "at", "timecode", "fade", "law", "correlation", "difference_peak", "from_pass", "to_pass"
)  # fmt: skip


def joins_csv(sheet: Sheet, edit: Edit) -> bytes:
    """Return one row a join, in the order of tracks and places; line ends are CR LF as RFC 4180 has them."""
    rate = frame_rate(sheet.session.frame_rate)
    out = io.StringIO(newline="")
    rows = csv.writer(out)
    rows.writerow(JOIN_COLUMNS)
    for track in edit.tracks:
        for index, join in enumerate(track.joins):
            rows.writerow(
                (
                    track.track.name,
                    track.track.number,
                    join.at,
                    format_sample(edit.start_sample + join.at, rate, sheet.session.sample_rate),
                    join.fade,
                    join.law,
                    join.correlation,
                    join.difference_peak,
                    track.spans[index].pass_name or "",
                    track.spans[index + 1].pass_name or "",
                )
            )
    return out.getvalue().encode("utf-8")


def timeline_otio(sheet: Sheet, edit: Edit) -> bytes:
    """Return the edit as OpenTimelineIO JSON.

    One track per delivered track, one clip per span that names the capture file and its exact source range at
    the sample rate, gaps for silence. Fades are in the record; here a join is the border of two clips.
    """
    import opentimelineio as otio  # noqa: PLC0415 - slow to load, and only a build needs it

    rate = sheet.session.sample_rate
    timeline = otio.schema.Timeline(
        name=sheet.session.title, global_start_time=otio.opentime.RationalTime(edit.start_sample, rate)
    )
    for track in edit.tracks:
        row = otio.schema.Track(name=track.track.name, kind=otio.schema.TrackKind.Audio)
        for span in track.spans:
            row.append(_otio_item(sheet, edit, track, span))
        timeline.tracks.append(row)
    text: str = otio.adapters.write_to_string(timeline, "otio_json", indent=1)
    return (text + "\n").encode("utf-8")


def _otio_item(sheet: Sheet, edit: Edit, track: TrackEdit, span: Span) -> object:
    import opentimelineio as otio  # noqa: PLC0415

    rate = sheet.session.sample_rate
    duration = otio.opentime.RationalTime(span.end - span.start, rate)
    if span.pass_name is None:
        return otio.schema.Gap(
            source_range=otio.opentime.TimeRange(otio.opentime.RationalTime(0, rate), duration)
        )
    one = next(one.imported for one in edit.passes if one.imported.name == span.pass_name)
    tape_track = track.track.tape_tracks[one.reel]
    available = otio.opentime.TimeRange(
        otio.opentime.RationalTime(0, rate),
        otio.opentime.RationalTime(one.audio.track_lengths[tape_track], rate),
    )
    reference = otio.schema.ExternalReference(
        target_url=relative_path(sheet, one.audio.path(tape_track)), available_range=available
    )
    reference.metadata["capture-assembler"] = {"channel": one.audio.channels[tape_track][1] + 1}
    return otio.schema.Clip(
        name=span.pass_name,
        media_reference=reference,
        source_range=otio.opentime.TimeRange(otio.opentime.RationalTime(span.pass_start, rate), duration),
    )
