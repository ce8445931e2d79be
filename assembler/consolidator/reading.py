"""Reading ``assembly.json`` back, checked by pydantic; keys that are not needed here are let by."""

# pydantic reads the annotations while the program runs: no postponed evaluation in this module.
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

Count = Annotated[int, Field(ge=0)]


class _Recorded(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore", populate_by_name=True)


class RecordedSession(_Recorded):
    """What holds for the whole set."""

    title: str
    sample_rate: int
    bit_depth: int
    frame_rate: str
    word_length: int


class RecordedStart(_Recorded):
    """Where the set begins."""

    timecode: str
    sample: int


class RecordedFile(_Recorded):
    """A capture file."""

    path: str
    sha256: str | None


class RecordedPass(_Recorded):
    """A pass: its files, and where each tape track lies in them."""

    name: str
    reel: str
    files: tuple[RecordedFile, ...]
    channels: tuple[tuple[Count, Count], ...]
    polarity: tuple[int, ...]


class RecordedSpan(_Recorded):
    """A stretch and where it comes from."""

    start: Count
    end: Count
    pass_name: Annotated[str | None, Field(alias="pass")]
    pass_start: int | None = None


class RecordedJoin(_Recorded):
    """A border of two spans."""

    at: Count
    fade: Count
    law: str
    correlation: float
    difference_peak: int


class RecordedTrack(_Recorded):
    """A delivered track."""

    number: Count
    name: str
    file: str
    audio_sha256: str
    spans: tuple[RecordedSpan, ...]
    joins: tuple[RecordedJoin, ...]


class RecordedSet(_Recorded):
    """The whole record."""

    format: int
    session: RecordedSession
    start: RecordedStart
    length: Count
    passes: tuple[RecordedPass, ...]
    tracks: tuple[RecordedTrack, ...]


def read_record(data: bytes) -> RecordedSet:
    """Return the record.

    Raises:
        ValueError: it is not one; the message gives the first key at fault in one line.
    """
    try:
        record = RecordedSet.model_validate_json(data)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise ValueError(f"is no record of a set: {key}: {first['msg']}") from error
    if record.format != 1:
        raise ValueError(f"has format {record.format}; this version reads format 1")
    for track in record.tracks:
        _check_spans(record, track)
    return record


def _check_spans(record: RecordedSet, track: RecordedTrack) -> None:
    at = 0
    for span in track.spans:
        if span.start != at or span.end <= span.start:
            raise ValueError(f"track {track.name}: spans do not follow one another at sample {at}")
        at = span.end
    if at != record.length:
        raise ValueError(f"track {track.name}: spans end at sample {at}, the set at {record.length}")
    if len(track.joins) != len(track.spans) - 1:
        raise ValueError(f"track {track.name}: {len(track.joins)} joins between {len(track.spans)} spans")
