"""What is embedded in each delivered track: broadcast extension, iXML, markers, INFO.

All of it follows from the record of the set. A build embeds it; a check makes it again and compares.

Sources: EBU Tech 3285 version 2 (``bext``), FADGI, Embedding Metadata in Digital
Audio Files (which INFO keys). The basic UMID of SMPTE ST 330 is laid out from memory.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assembler.record.embedded.history import coding_history, fitting_rows, native_words, reels_of
from assembler.record.embedded.marking import fitting_markers, marked_places
from assembler.timecode import frame_rate
from assembler.wave import (
    BroadcastExtension,
    Loudness,
    TrackSheet,
    encode_bext,
    encode_info,
    encode_ixml,
    encode_markers,
    fit_field,
)

if TYPE_CHECKING:
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet
    from assembler.wave import Marker

DESCRIPTION_LIMIT: Final = 256
NAME_LIMIT: Final = 32
HEADER_LIMIT: Final = 50 << 10
"""Bytes of metadata in a track: half of what libsndfile holds of a file's header before it gives the file up."""
IXML_LIMIT: Final = 400
INFO_LIMIT: Final = 1000
"""Characters of the texts that have no limit of their own; together they leave half of the header to markers."""

# Basic UMID: universal label (audio, one component; material number made by the UUID method, instance number by
# none), length of what follows, instance number zero: this is the material itself, no copy of it.
_UMID_START: Final = bytes.fromhex("060A2B34 01010105 01010820 13 000000")
_UMID_NAMESPACE: Final = uuid.UUID("5d1c1c36-2f0b-5d55-9a4e-0b7b0c8c6f21")
_NO_UMID: Final = bytes(32)
_CHUNK_HEADER: Final = 8


@dataclass(frozen=True)
class TrackMetadata:
    """Everything that a delivered track says about itself.

    Args:
        record: of the set.
        track: which track. Until its digest and levels are known its UMID is zeros and its loudness not set; the
            chunks have the same sizes then.
    """

    record: RecordedSet
    track: RecordedTrack

    def chunks(self) -> list[tuple[str, bytes]]:
        """Return the chunks of the file in their order, ``bext`` first; at most ``HEADER_LIMIT`` bytes."""
        bext, ixml, info = self._texts()
        # Sets of format 1 have what was common practice.
        purpose = b"rgn " if self.record.format == 1 else b"scrp"
        return [bext, ixml, *encode_markers(self.markers(), purpose), info]

    def _texts(self) -> tuple[tuple[str, bytes], ...]:
        return (
            ("bext", encode_bext(self.broadcast_extension())),
            ("iXML", encode_ixml(self.track_sheet())),
            ("LIST", encode_info(self.info())),
        )

    def chunks_by_name(self) -> list[tuple[str, bytes]]:
        """Return the chunks with the type of each list in its name: ``LIST adtl``, ``LIST INFO``."""
        return [
            (f"LIST {payload[:4].decode('ascii')}" if name == "LIST" else name, payload)
            for name, payload in self.chunks()
        ]

    def broadcast_extension(self) -> BroadcastExtension:
        """Return the ``bext`` record. The name of the track stands first: 64 characters should do as a summary."""
        session = self.record.session
        return BroadcastExtension(
            description=fit_field(description(self.record, self.track), DESCRIPTION_LIMIT),
            originator=fit_field(session.originator, NAME_LIMIT),
            originator_reference=fit_field(session.reference, NAME_LIMIT),
            origination_date=session.date,
            time_reference=time_reference(self.record),
            umid=self.umid(),
            loudness=self.loudness(),
            coding_history="".join(
                f"{row}\r\n" for row in fitting_rows(coding_history(self.record, self.track))
            ),
        )

    def umid(self) -> bytes:
        """Return the basic UMID, 32 bytes: the same for the same samples at the same place, in every build.

        Its material number is a UUID of version 5 (RFC 9562, 5.5) of the digest of the samples, the track's number
        and the set's first sample; the last two keep apart tracks that hold nothing but silence.
        """
        if not self.track.audio_sha256:
            return _NO_UMID
        name = f"{self.track.audio_sha256}/{self.track.number}/{self.record.start.sample}"
        return _UMID_START + uuid.uuid5(_UMID_NAMESPACE, name).bytes

    def loudness(self) -> Loudness:
        """Return the five loudness values as the record has them."""
        levels = self.track.levels
        if levels is None:
            return Loudness()
        return Loudness(
            integrated=levels.integrated_lufs,
            range=levels.loudness_range_lu,
            max_true_peak=levels.true_peak_dbtp,
            max_momentary=levels.max_momentary_lufs,
            max_short_term=levels.max_short_term_lufs,
        )

    def track_sheet(self) -> TrackSheet:
        """Return the iXML record."""
        session = self.record.session
        rate = frame_rate(session.frame_rate)
        return TrackSheet(
            project=session.title[:IXML_LIMIT],
            tape=tape(self.track)[:IXML_LIMIT],
            track_name=self.track.name[:IXML_LIMIT],
            channel_index=self.track.number,
            frame_rate=rate.exact,
            drop_frame=rate.drop,
            sample_rate=session.sample_rate,
            bit_depth=session.word_length,
            start_sample=time_reference(self.record),
            note=f"native word length {native_words(self.record, self.track)} bits",
            file_uid=self.umid().hex().upper(),
        )

    def markers(self) -> list[Marker]:
        """Return markers at joins and at places that no pass has right, as many as the header has room for."""
        taken = sum(len(payload) + _CHUNK_HEADER for _, payload in self._texts())
        return fitting_markers(marked_places(self.record, self.track), HEADER_LIMIT - taken)

    def info(self) -> dict[str, str]:
        """Return the texts of LIST INFO: whose, what, when, from which medium, by whom, with what."""
        return {key: fit_field(text, INFO_LIMIT) for key, text in self.info_texts().items()}

    def info_texts(self) -> dict[str, str]:
        """Return the texts of LIST INFO before they are cut."""
        session = self.record.session
        reels = reels_of(self.record, self.track)
        operators = dict.fromkeys(
            str(reel.prepared["operator"]) for reel in reels if "operator" in reel.prepared
        )
        return {
            "IARL": session.originator,
            "INAM": f"{self.track.name}, {session.title}",
            "IPRD": session.title,
            "ICRD": session.date,
            # The same as in bext, without its limit: readers show one of the two as "the" comment.
            "ICMT": description(self.record, self.track),
            "IMED": f"digital tape; {native_words(self.record, self.track)} bits; {session.sample_rate} Hz",
            "ISRF": "; ".join(
                f"reel {reel.name} track {self.record.tape_track(self.track, reel.name) + 1}"
                for reel in reels
            ),
            "ITCH": "; ".join(operators),
            "ISFT": self.record.program,
        }


def time_reference(record: RecordedSet) -> int:
    """Return the samples since midnight of the set's first one; the timeline may have run on past midnight."""
    rate = frame_rate(record.session.frame_rate)
    day = round(rate.frames_per_day * record.session.sample_rate / rate.exact)
    return record.start.sample % day


def tape(track: RecordedTrack) -> str:
    """Return the reels that a track comes from, in one text."""
    return ", ".join(track.reels)


def description(record: RecordedSet, track: RecordedTrack) -> str:
    """Return the description of a track before it is cut."""
    about = f"{track.name}, {record.session.title}"
    return f"{about}. {record.session.description}" if record.session.description else about
