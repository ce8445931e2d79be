"""Reading ``assembly.json`` back, checked by pydantic and by what its parts say of each other.

The records here are what everything else in a set is made from: tracks' metadata, ``joins.csv``, ``timeline.otio``.
A build makes them from the record that it is about to write, a check from the file; so both say the same, or the
check tells where they don't. Keys that are not needed are let by.
"""

from __future__ import annotations

from typing import Final

from pydantic import ValidationError

from assembler.errors import RecordError
from assembler.record.recorded.checks import check_parts
from assembler.record.recorded.plainjson import check_json
from assembler.record.recorded.whole import RecordedSet
from assembler.record.values import FORMAT

LARGEST_RECORD: Final = 64 << 20
"""Bytes; of a larger file nothing is read."""

FORMATS: Final = (1, FORMAT)
KINDS_OF_1: Final = {"tape_damage": "tape_suspected", "machine_damage": "machine_suspected"}
"""Kinds of notes that said more than was known, and what they are named since."""


def read_record(data: bytes) -> RecordedSet:
    """Return the record of a set.

    Raises:
        RecordError: it is not one, or contradicts itself; the message gives the first key at fault in one line.
    """
    record = read_unwritten(data)
    for track in record.tracks:
        for key in ("file", "audio_sha256", "levels"):
            if not getattr(track, key):
                raise RecordError(f"track {track.name}: {key} is missing")
    return record


def read_unwritten(data: bytes) -> RecordedSet:
    """Return a record whose tracks need not be written yet.

    Raises:
        RecordError: as ``read_record``.
    """
    try:
        check_json(data)
    except ValueError as error:
        raise RecordError(f"is no record of a set: {error}") from error
    try:
        record = RecordedSet.model_validate_json(data)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise RecordError(f"is no record of a set: {key}: {first['msg']}") from error
    if record.format not in FORMATS:
        raise RecordError(f"has format {record.format}; this version reads formats 1 and 2")
    try:
        check_parts(record)
    except ValueError as error:
        raise RecordError(str(error)) from error
    return _renamed(record) if record.format == 1 else record


def _renamed(record: RecordedSet) -> RecordedSet:
    """Return a record of format 1 with kinds of notes named as they are in format 2; its format stays as it was."""
    notes = tuple(one.model_copy(update={"kind": KINDS_OF_1.get(one.kind, one.kind)}) for one in record.notes)
    return record.model_copy(update={"notes": notes})
