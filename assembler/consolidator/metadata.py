"""What is embedded in each delivered track: broadcast extension, iXML, markers, INFO."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler import __version__
from assembler.aligner import EDGE
from assembler.timecode import format_sample, frame_rate
from assembler.wave import (
    BroadcastExtension,
    Loudness,
    Marker,
    TrackSheet,
    coding_history_row,
    encode_bext,
    encode_info,
    encode_ixml,
    encode_markers,
    fit_field,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner import Edit, TrackEdit
    from assembler.consolidator.metering import TrackLevels
    from assembler.sheet import Sheet

SOFTWARE = f"capture-assembler {__version__}"
NO_LOUDNESS = Loudness()


@dataclass(frozen=True)
class TrackMetadata:
    """Everything that a delivered track says about itself but for its loudness, which is known last.

    Args:
        sheet: the session.
        edit: of the whole session.
        track: which track.
    """

    sheet: Sheet
    edit: Edit
    track: TrackEdit

    def chunks(self, loudness: Loudness) -> list[tuple[str, bytes]]:
        """Return the chunks of the file, ``bext`` first; their sizes do not depend on the loudness."""
        info = encode_info(
            {
                "INAM": self.track.track.name,
                "IPRD": self.sheet.session.title,
                "ISFT": SOFTWARE,
                "ICRD": session_date(self.sheet),
            }
        )
        return [
            ("bext", encode_bext(self.broadcast_extension(loudness))),
            ("iXML", encode_ixml(self.track_sheet())),
            *encode_markers(self.markers()),
            ("LIST", info),
        ]

    def broadcast_extension(self, loudness: Loudness) -> BroadcastExtension:
        """Return the ``bext`` record."""
        session = self.sheet.session
        about = f"{session.title}: {self.track.track.name}"
        if session.description:
            about += f". {session.description}"
        return BroadcastExtension(
            description=fit_field(about, 256),
            originator=fit_field(session.originator, 32),
            originator_reference=fit_field(session.reference, 32),
            origination_date=session_date(self.sheet),
            time_reference=self.time_reference,
            loudness=loudness,
            coding_history="\r\n".join(coding_history(self.sheet, self.track)),
        )

    @property
    def time_reference(self) -> int:
        """Samples since midnight of the first sample; the timeline may have run on past midnight."""
        rate = frame_rate(self.sheet.session.frame_rate)
        day = round(rate.frames_per_day * self.sheet.session.sample_rate / rate.exact)
        return self.edit.start_sample % day

    def track_sheet(self) -> TrackSheet:
        """Return the iXML record."""
        session = self.sheet.session
        rate = frame_rate(session.frame_rate)
        return TrackSheet(
            project=session.title,
            tape=", ".join(self.track.track.tape_tracks),
            track_name=self.track.track.name,
            channel_index=self.track.track.number,
            frame_rate=rate.exact,
            drop_frame=rate.drop,
            sample_rate=session.sample_rate,
            bit_depth=self.sheet.deliver.word_length,
            start_sample=self.time_reference,
            note=f"native word length {session.bit_depth} bits",
        )

    def markers(self) -> list[Marker]:
        """Return markers at joins and at places that no pass has right."""
        names = _sides(self.track)
        places = [
            Marker(join.at, 0, f"Join {names[index]}", f"{join.law}, fade {join.fade} samples")
            for index, join in enumerate(self.track.joins)
            if join.law != EDGE
        ]
        places += [
            Marker(place.start, place.end - place.start, f"Uncured {place.kind}", self.timecode(place.start))
            for place in self.edit.uncured
            if place.track == self.track.track
        ]
        return sorted(places, key=lambda marker: (marker.sample, marker.length))

    def timecode(self, position: int) -> str:
        """Return the timecode of a position in the set."""
        session = self.sheet.session
        rate = frame_rate(session.frame_rate)
        return format_sample(position + self.edit.start_sample, rate, session.sample_rate)


def coding_history(sheet: Sheet, track: TrackEdit) -> list[str]:
    """Return one row for each step of the chain: the tape's playback, the transfer, the assembly."""
    session = sheet.session
    passes = sorted({span.pass_name for span in track.spans if span.pass_name})
    reels = [reel for reel in sheet.reels if reel.name in track.track.tape_tracks]
    rows = [
        coding_history_row(
            sample_rate=session.sample_rate,
            word_length=session.bit_depth,
            channels=1,
            text=f"digital tape; reel {reel.name}; {_prepared_text(reel.prepared)}".rstrip("; "),
        )
        for reel in reels
    ]
    fades = sum(1 for join in track.joins if join.fade)
    joins = sum(1 for join in track.joins if join.law != EDGE)
    rows.append(
        coding_history_row(
            sample_rate=session.sample_rate,
            word_length=sheet.deliver.word_length,
            channels=1,
            text=f"{SOFTWARE}; from {'+'.join(passes) or 'nothing'}; {joins} joins; {fades} fades",
        )
    )
    return rows


def session_date(sheet: Sheet) -> str:
    """Return the sheet's date, else that of SOURCE_DATE_EPOCH, else nothing: never the clock's."""
    if sheet.session.date is not None:
        return sheet.session.date.isoformat()
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if epoch.isdigit():
        try:
            return datetime.fromtimestamp(int(epoch), UTC).date().isoformat()
        except (OverflowError, ValueError, OSError):
            return ""
    return ""


def loudness_of(levels: TrackLevels) -> Loudness:
    """Return the five loudness values that a ``bext`` chunk holds."""
    return Loudness(
        integrated=levels.integrated_lufs,
        range=levels.loudness_range_lu,
        max_true_peak=levels.true_peak_dbtp,
        max_momentary=levels.max_momentary_lufs,
        max_short_term=levels.max_short_term_lufs,
    )


def _sides(track: TrackEdit) -> Sequence[str]:
    names = [span.pass_name or "silence" for span in track.spans]
    return [f"{a} to {b}" for a, b in pairwise(names)]


def _prepared_text(prepared: Mapping[str, object]) -> str:
    return "; ".join(
        f"{key} {value.isoformat() if isinstance(value, date) else value}" for key, value in prepared.items()
    )
