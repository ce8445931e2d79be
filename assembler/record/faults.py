"""What a set's files say otherwise than its record: headers, embedded metadata, joins, timeline, sheet.

Everything in a set but the samples follows from ``assembly.json``. It is made again here and compared; each
difference is one line that names the place. Files come as bytes or as an open track, and nothing is raised for
what they say.
"""

from __future__ import annotations

from dataclasses import fields
from fractions import Fraction
from itertools import zip_longest
from typing import TYPE_CHECKING

from assembler.errors import SheetError, WaveError
from assembler.record.embedded.metadata import TrackMetadata
from assembler.record.joins import joins_csv
from assembler.record.recorded.plainjson import check_json
from assembler.record.timeline.otio import read_timeline
from assembler.record.timeline.timeline import timeline_of
from assembler.record.values import SOFTWARE
from assembler.sheet import parse_sheet
from assembler.timecode import format_sample, frame_rate
from assembler.wave import decode_bext, decode_info, decode_ixml, decode_markers, encode_bext

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet
    from assembler.wave import BroadcastExtension, Marker, WaveFile

# What a program puts together from several keys of the record; another version may put it in other words.
_COMPOSED_BEXT = {"description", "coding_history", "umid"}
_COMPOSED_IXML = {"note", "file_uid"}
_MOST_SHOWN = 60
_CHUNK_ROOM = 1 << 16
_VALUES_OF_AN_ITEM = 100
"""A clip in a timeline file has some thirty values."""


def record_faults(record: RecordedSet) -> Iterator[str]:
    """Yield what the record says otherwise in two of its own places."""
    session = record.session
    label = format_sample(record.start.sample, frame_rate(session.frame_rate), session.sample_rate)
    if label != record.start.timecode:
        yield f"start.timecode is {record.start.timecode}, start.sample is the frame {label}"
    names = {(reel.name, track) for reel in record.reels for track in reel.tracks}
    words = {(one.reel, one.by, one.reason) for one in record.accepted}
    for place in record.uncured:
        if (place.reel, place.track) not in names or not place.start <= place.end <= record.length:
            yield f"uncured place at sample {place.start} on {place.track} of reel {place.reel} is not in the set"
        word = place.accepted
        if word and (place.reel, word.by, word.reason) not in words:
            yield f"uncured place at sample {place.start} on {place.track} has the word of {word.by!a}, who gave none"
    for note in record.notes:
        if note.accepted and (note.accepted.by, note.accepted.reason) not in {word[1:] for word in words}:
            yield f"a note on {note.pass_name!a} has the word of {note.accepted.by!a}, who gave none"
    if record.is_sound and any(place.accepted is None for place in record.uncured):
        yield "sound is true, and there are uncured places that nobody has accepted"


def header_faults(record: RecordedSet, track: RecordedTrack, file: WaveFile) -> Iterator[str]:
    """Yield what a track's own header and metadata say otherwise than the record, and what is damaged in it."""
    yield from file.info.faults
    yield from shape_faults(record, file)
    try:
        found = list(_metadata_faults(record, TrackMetadata(record, track), file))
    except WaveError as error:
        found = [error.problem]
    yield from found
    if not found and record.program == SOFTWARE:
        yield from _byte_faults(TrackMetadata(record, track), file)


def shape_faults(record: RecordedSet, file: WaveFile) -> Iterator[str]:
    """Yield where a track's samples lie otherwise than the record says: then they are not to be read."""
    pcm, session = file.info.format, record.session
    expected: tuple[tuple[str, object, object], ...] = (
        ("length in samples", file.info.frames, record.length),
        ("sample rate", pcm.sample_rate, session.sample_rate),
        ("word length", pcm.container_bits, session.word_length),
        ("channels", pcm.channels, 1),
    )
    for what, seen, said in expected:
        yield from _difference(what, seen, said)


def _metadata_faults(record: RecordedSet, metadata: TrackMetadata, file: WaveFile) -> Iterator[str]:
    composed = record.program == SOFTWARE
    wanted = dict(metadata.chunks_by_name())

    def read(name: str, list_type: str | None = None) -> bytes | None:
        """Return a chunk that is not much larger than another version would write it."""
        key = name if list_type is None else f"{name} {list_type}"
        return file.read_chunk(name, list_type, len(wanted.get(key, b"")) + _CHUNK_ROOM)

    payload = read("bext")
    if payload is None:
        yield "has no bext chunk"
    else:
        yield from _bext_faults(decode_bext(payload), metadata, composed=composed)
    payload = read("iXML")
    if payload is None:
        yield "has no iXML chunk"
    else:
        seen, sheet = decode_ixml(payload), metadata.track_sheet()
        for field in fields(sheet):
            if composed or field.name not in _COMPOSED_IXML:
                yield from _difference(
                    f"iXML {field.name}", getattr(seen, field.name), getattr(sheet, field.name)
                )
    # Through bytes and back, as bext: both lists hold texts as ASCII has them.
    said = decode_markers(wanted["cue "], wanted["LIST adtl"]) if "cue " in wanted else ()
    yield from _marker_faults(said, read("cue "), read("LIST", "adtl"))
    if composed:
        info, said_info = decode_info(read("LIST", "INFO") or b"INFO"), decode_info(wanted["LIST INFO"])
        for key in said_info:
            yield from _difference(f"INFO {key}", info.get(key, ""), said_info[key])
        surplus = next((key for key in info if key not in said_info), None)
        if surplus is not None:
            yield from _difference(f"INFO {surplus!a}", info[surplus], "")


def _bext_faults(seen: BroadcastExtension, metadata: TrackMetadata, *, composed: bool) -> Iterator[str]:
    # Through bytes and back: loudness is compared in the hundredths that the chunk can hold.
    said = decode_bext(encode_bext(metadata.broadcast_extension()))
    for field in fields(said):
        if field.name != "loudness" and (composed or field.name not in _COMPOSED_BEXT):
            yield from _difference(f"bext {field.name}", getattr(seen, field.name), getattr(said, field.name))
    for field in fields(said.loudness):
        values = getattr(seen.loudness, field.name), getattr(said.loudness, field.name)
        yield from _difference(f"bext loudness {field.name}", *values)


def _marker_faults(said: Sequence[Marker], cue: bytes | None, adtl: bytes | None) -> Iterator[str]:
    seen = () if cue is None else decode_markers(cue, adtl or b"")
    for number, (found, wanted) in enumerate(zip_longest(seen, said), start=1):
        if found == wanted:
            continue
        if found is None and wanted is not None:
            yield f"marker {number} at sample {wanted.sample} ({wanted.label}) is missing"
        elif wanted is None and found is not None:
            yield f"marker {number} at sample {found.sample} ({found.label!a}) is at no join, woven or uncured place"
        elif found is not None and wanted is not None:
            yield from _difference(f"place of marker {number}", found.sample, wanted.sample)
            yield from _difference(f"length of marker {number}", found.length, wanted.length)
            yield from _difference(f"text of marker {number}", found.label, wanted.label)
            yield from _difference(f"note of marker {number}", found.note, wanted.note)
        # One marker too many or too few would have all that follow it told as well.
        return


def _byte_faults(metadata: TrackMetadata, file: WaveFile) -> Iterator[str]:
    """Yield where a chunk has other bytes though it reads the same: reserved and filling ones."""
    for name, wanted in metadata.chunks_by_name():
        chunk, _, kind = name.partition(" ") if name.startswith("LIST") else (name, "", "")
        found = file.read_chunk(chunk, kind or None, len(wanted) + _CHUNK_ROOM) or b""
        if found != wanted:
            pairs = enumerate(zip_longest(found, wanted))
            yield f"{name.strip()} chunk: byte {next(n for n, (a, b) in pairs if a != b)} is not as it was written"


def joins_faults(record: RecordedSet, data: bytes) -> Iterator[str]:
    """Yield the first line of ``joins.csv`` that is not as the record has it."""
    wanted = joins_csv(record)
    if data == wanted:
        return
    lines = enumerate(zip_longest(data.split(b"\r\n"), wanted.split(b"\r\n")), start=1)
    number, (seen, said) = next((n, pair) for n, pair in lines if pair[0] != pair[1])
    yield f"line {number} is {_shown(seen)}, assembly.json says {_shown(said)}"


def timeline_faults(record: RecordedSet, data: bytes) -> Iterator[str]:
    """Yield the first difference of ``timeline.otio`` in each track, and in what holds for all."""
    said = timeline_of(record)
    items = sum(1 + len(track.items) + len(track.marks) for track in said.tracks)
    try:
        # The library takes minutes, gigabytes or the process with it where a text is nested or padded for that.
        check_json(data, _VALUES_OF_AN_ITEM * (items + 10))
        seen = read_timeline(data)
    except ValueError as error:
        yield str(error)
        return
    for name in ("title", "start_sample", "sample_rate"):
        yield from _difference(name.replace("_", " "), getattr(seen, name), getattr(said, name))
    for found, wanted in zip_longest(seen.tracks, said.tracks):
        if found is None or wanted is None or found.name != wanted.name:
            yield from _difference("track", getattr(found, "name", None), getattr(wanted, "name", None))
            return
        for what, left, right in (("item", found.items, wanted.items), ("marker", found.marks, wanted.marks)):
            pairs = enumerate(zip_longest(left, right), start=1)
            differing = next((n for n, (a, b) in pairs if a != b), None)
            if differing is not None:
                yield f"track {wanted.name}: {what} {differing} is not as assembly.json has it"


def sheet_faults(record: RecordedSet, data: bytes, folder: Path) -> Iterator[str]:
    """Yield what the set's own sheet says otherwise than the record.

    Args:
        record: of the set.
        data: ``session.toml`` of the set.
        folder: any; the files that the sheet names are not looked for.
    """
    try:
        sheet = parse_sheet(data, path=None, folder=folder, allow_outside=True)
    except SheetError as error:
        yield f"cannot be read as a sheet: {error}"
        return
    session = record.session
    for name in ("title", "sample_rate", "bit_depth", "frame_rate", "originator", "reference", "description"):
        yield from _difference(f"session.{name}", getattr(sheet.session, name), getattr(session, name))
    if sheet.session.date is not None:
        yield from _difference("session.date", sheet.session.date.isoformat(), session.date)
    yield from _difference("deliver.word_length", sheet.deliver.word_length, session.word_length)
    reels = [(reel.name, tuple(reel.tracks)) for reel in sheet.reels]
    yield from _difference("reels and their tracks", reels, [(r.name, r.tracks) for r in record.reels])
    for reel in record.reels:
        said = next((one.bit_depth for one in sheet.reels if one.name == reel.name), None)
        if reel.bit_depth is not None and reel.bit_depth > (said or sheet.session.bit_depth):
            yield from _difference(
                f"bit_depth of reel {reel.name}", said or sheet.session.bit_depth, reel.bit_depth
            )
    words = [(one.reel, one.take, one.by, one.reason) for one in sheet.accepted]
    yield from _difference(
        "accepted places", words, [(one.reel, one.take, one.by, one.reason) for one in record.accepted]
    )
    passes = [(one.name, one.reel) for one in sheet.passes]
    yield from _difference("passes and their reels", passes, [(p.name, p.reel) for p in record.passes])


def _difference(what: str, seen: object, said: object) -> Iterator[str]:
    if seen != said:
        yield f"{what} is {_shown(seen)}, assembly.json says {_shown(said)}"


def _shown(value: object) -> str:
    if value is None:
        return "not there"
    if isinstance(value, Fraction):
        return str(value)
    text = value.hex() if isinstance(value, bytes) and not value.isascii() else f"{value!a}".removeprefix("b")
    return text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 3] + "..."
