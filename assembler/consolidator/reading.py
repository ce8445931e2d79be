"""Reading ``assembly.json`` back, checked by pydantic and by what its parts say of each other.

The records here are what everything else in a set is made from: tracks' metadata, ``joins.csv``, ``timeline.otio``.
A build makes them from the record that it is about to write, a check from the file; so both say the same, or the
check tells where they don't. Keys that are not needed are let by.
"""

# pydantic reads the annotations while the program runs: no postponed evaluation in this module.
from collections import Counter
from collections.abc import Mapping
from functools import cached_property
from typing import Annotated, Final, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from assembler.aligner import Runs, extent_of, size_of
from assembler.consolidator.plainjson import check_json

MOST_SAMPLES = 1 << 48
"""Forty-six years at 192 kHz: past that a number is no place on a tape."""

MOST_REELS = 1000
"""Each track is held against each of its reels."""

Count: TypeAlias = Annotated[int, Field(ge=0, le=MOST_SAMPLES)]
Level: TypeAlias = Annotated[float, Field(ge=-1000, le=1000)]
Digest: TypeAlias = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]

FARTHEST_FILL: Final = 1 << 36
"""No span is as long: 16 days at 48 kHz."""

Fill: TypeAlias = Annotated[int, Field(ge=1, le=FARTHEST_FILL)]
FillPlace: TypeAlias = Annotated[int, Field(ge=-FARTHEST_FILL, le=FARTHEST_FILL)]

MOST_PAIRS: Final = 1 << 22
"""So many pairs of runs of a span may lie across each other; a few seconds are enough to look at them."""

LONGEST_FADE_SECONDS = 10
"""The sheet allows no longer one; a fade is computed whole, so a record may not ask for more than that."""


class _Recorded(BaseModel):
    model_config = ConfigDict(
        frozen=True, extra="ignore", populate_by_name=True, strict=True, allow_inf_nan=False
    )


class RecordedSession(_Recorded):
    """What holds for the whole set."""

    title: str
    sample_rate: Annotated[int, Field(ge=8000, le=192_000)]
    bit_depth: Literal[16, 20, 24]
    frame_rate: Literal["24", "25", "29.97", "29.97df", "30"]
    word_length: Literal[16, 24]
    date: str = ""
    originator: str = ""
    reference: str = ""
    description: str = ""


class RecordedStart(_Recorded):
    """Where the set begins."""

    timecode: str
    sample: Count


class RecordedReel(_Recorded):
    """A tape: its tracks in tape order, and the transfer notes of the sheet."""

    name: str
    tracks: tuple[str, ...]
    prepared: Mapping[str, str | int | float | bool] = Field(default_factory=dict)
    # Records of earlier versions have no word length of a reel.
    bit_depth: Literal[16, 20, 24] | None = None


class RecordedFile(_Recorded):
    """A capture file; no digest where it was not computed."""

    path: str
    sha256: Digest | None
    samples: Count


class RecordedLog(_Recorded):
    """A timecode log; no digest where it was not computed."""

    path: str
    sha256: Digest | None


class RecordedPass(_Recorded):
    """A pass: its files, and where each tape track lies in them."""

    name: str
    reel: str
    files: tuple[RecordedFile, ...]
    log: RecordedLog | None = None
    channels: tuple[tuple[Count, Count], ...]
    polarity: tuple[Literal[1, -1], ...]


class RecordedFilled(_Recorded):
    """Samples of a woven stretch that a span has from another pass; runs count from the span's start."""

    pass_name: Annotated[str, Field(alias="pass")]
    pass_start: FillPlace
    at: Annotated[tuple[tuple[FillPlace, Fill, Fill], ...], Field(min_length=1)]

    @property
    def extent(self) -> tuple[int, int]:
        """From the first sample to behind the last one, from the span's start."""
        return extent_of(self.at)

    @property
    def samples(self) -> int:
        """How many samples are taken."""
        return size_of(self.at)


class RecordedSpan(_Recorded):
    """A stretch and where it comes from."""

    start: Count
    end: Count
    pass_name: Annotated[str | None, Field(alias="pass")]
    pass_start: Count | None = None
    filled: tuple[RecordedFilled, ...] = ()


class RecordedJoin(_Recorded):
    """A border of two spans."""

    at: Count
    fade: Count
    law: str
    correlation: Annotated[float, Field(ge=-1, le=1)]
    difference_peak: Count


class RecordedLevels(_Recorded):
    """What was measured on a track; the names are those of the meter's ``TrackLevels``."""

    integrated_lufs: Level | None
    loudness_range_lu: Level | None
    max_momentary_lufs: Level | None
    max_short_term_lufs: Level | None
    true_peak_dbtp: Level | None
    sample_peak_dbfs: Level | None
    rms_dbfs: Level | None
    dc_offset: Level
    bits_in_use: Count
    clipped_runs: Count
    silent_share: Level


class RecordedTrack(_Recorded):
    """A delivered track. ``file``, digest and levels are known once it is written."""

    number: Annotated[int, Field(ge=1, le=1_000_000)]
    name: str
    reels: Annotated[tuple[str, ...], Field(max_length=MOST_REELS)]
    # A set may come from anywhere: no file outside the folder of the tracks is ever opened.
    file: Annotated[str, Field(pattern=r"^(tracks/[^/\\\x00]+\.wav)?$")] = ""
    audio_sha256: Annotated[str, Field(pattern="^([0-9a-f]{64})?$")] = ""
    levels: RecordedLevels | None = None
    spans: Annotated[tuple[RecordedSpan, ...], Field(min_length=1)]
    joins: tuple[RecordedJoin, ...]

    @property
    def taken(self) -> list[str]:
        """The passes that samples come from, in the order in which they come."""
        return list(
            dict.fromkeys(
                name
                for span in self.spans
                for name in (span.pass_name, *(filled.pass_name for filled in span.filled))
                if name is not None
            )
        )

    @property
    def woven(self) -> list[tuple[RecordedSpan, RecordedFilled]]:
        """What of it is filled from other passes, with the spans that it belongs to."""
        return [(span, filled) for span in self.spans for filled in span.filled]


class RecordedUncured(_Recorded):
    """A place that no pass has right."""

    reel: str
    track: str
    start: Count
    end: Count
    kind: str


class RecordedSet(_Recorded):
    """The whole record."""

    format: int
    program: str
    session: RecordedSession
    start: RecordedStart
    length: Count
    reels: Annotated[tuple[RecordedReel, ...], Field(max_length=MOST_REELS)]
    passes: tuple[RecordedPass, ...]
    tracks: tuple[RecordedTrack, ...]
    uncured: tuple[RecordedUncured, ...]

    def pass_named(self, name: str) -> RecordedPass:
        """Return a pass that the spans name."""
        return self._passes[name]

    def tape_track(self, track: RecordedTrack, reel: str) -> int:
        """Return the place of a track on a reel, from 0."""
        return self._places[reel][track.name]

    def uncured_on(self, track: RecordedTrack) -> list[RecordedUncured]:
        """Return the uncured places of a track."""
        return self._uncured.get(track.name, [])

    @cached_property
    def _uncured(self) -> dict[str, list[RecordedUncured]]:
        places: dict[str, list[RecordedUncured]] = {}
        for place in self.uncured:
            places.setdefault(place.track, []).append(place)
        return places

    @cached_property
    def _passes(self) -> dict[str, RecordedPass]:
        return {one.name: one for one in self.passes}

    @cached_property
    def _places(self) -> dict[str, dict[str, int]]:
        return {
            reel.name: {name: place for place, name in reversed(list(enumerate(reel.tracks)))}
            for reel in self.reels
        }


def read_record(data: bytes) -> RecordedSet:
    """Return the record of a set.

    Raises:
        ValueError: it is not one, or contradicts itself; the message gives the first key at fault in one line.
    """
    record = read_unwritten(data)
    for track in record.tracks:
        for key in ("file", "audio_sha256", "levels"):
            if not getattr(track, key):
                raise ValueError(f"track {track.name}: {key} is missing")
    return record


def read_unwritten(data: bytes) -> RecordedSet:
    """Return a record whose tracks need not be written yet.

    Raises:
        ValueError: as ``read_record``.
    """
    try:
        check_json(data)
    except ValueError as error:
        raise ValueError(f"is no record of a set: {error}") from error
    try:
        record = RecordedSet.model_validate_json(data)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        raise ValueError(f"is no record of a set: {key}: {first['msg']}") from error
    if record.format != 1:
        raise ValueError(f"has format {record.format}; this version reads format 1")
    _check_names(record)
    reels = {one.name: one.reel for one in record.passes}
    for one in record.passes:
        _check_channels(record, one)
    for track in record.tracks:
        _check_spans(record, track, reels)
        _check_joins(record, track)
        _check_fills(record, track, reels)
    return record


def _check_names(record: RecordedSet) -> None:
    kinds = {
        "reel": [reel.name for reel in record.reels],
        "pass": [one.name for one in record.passes],
        "track": [track.name for track in record.tracks],
        "track file": [track.file for track in record.tracks if track.file],
    }
    for kind, names in kinds.items():
        twice = next((name for name, count in Counter(names).items() if count > 1), None)
        if twice is not None:
            raise ValueError(f"has two of {kind} {twice}")
    held = {reel.name: set(reel.tracks) for reel in record.reels}
    for track in record.tracks:
        for reel in track.reels:
            if track.name not in held.get(reel, ()):
                raise ValueError(f"track {track.name}: reel {reel} does not have it")


def _check_channels(record: RecordedSet, one: RecordedPass) -> None:
    reel = next((reel for reel in record.reels if reel.name == one.reel), None)
    if reel is None:
        raise ValueError(f"pass {one.name}: there is no reel {one.reel}")
    if not len(one.channels) == len(one.polarity) == len(reel.tracks):
        raise ValueError(f"pass {one.name}: channels and polarity are not those of {len(reel.tracks)} tracks")
    if any(file >= len(one.files) for file, _ in one.channels):
        raise ValueError(f"pass {one.name}: channels name a file that is not listed")


def _check_spans(record: RecordedSet, track: RecordedTrack, reels: Mapping[str, str]) -> None:
    at = 0
    for span in track.spans:
        if span.start != at or span.end <= span.start:
            raise ValueError(f"track {track.name}: spans do not follow one another at sample {at}")
        if span.pass_name is not None and reels.get(span.pass_name) not in track.reels:
            raise ValueError(
                f"track {track.name}: the span at sample {at} names {span.pass_name}, no pass of its reels"
            )
        if (span.pass_name is None) != (span.pass_start is None):
            raise ValueError(f"track {track.name}: pass and pass_start of the span at sample {at} disagree")
        at = span.end
    if at != record.length:
        raise ValueError(f"track {track.name}: spans end at sample {at}, the set at {record.length}")


def _check_joins(record: RecordedSet, track: RecordedTrack) -> None:
    if len(track.joins) != len(track.spans) - 1:
        raise ValueError(f"track {track.name}: {len(track.joins)} joins between {len(track.spans)} spans")
    for join, span in zip(track.joins, track.spans[1:], strict=True):
        if join.at != span.start:
            raise ValueError(f"track {track.name}: the join at sample {join.at} is at no border of spans")
        if join.fade > LONGEST_FADE_SECONDS * record.session.sample_rate:
            raise ValueError(
                f"track {track.name}: the join at sample {join.at} has a fade of {join.fade} samples, "
                f"at most {LONGEST_FADE_SECONDS} s are allowed"
            )


def _check_fills(record: RecordedSet, track: RecordedTrack, reels: Mapping[str, str]) -> None:
    fades = [0, *(join.fade for join in track.joins), 0]
    for number, span in enumerate(track.spans):
        # A span is heard beyond its ends as far as its fades reach.
        heard = -(fades[number] // 2), span.end - span.start + fades[number + 1] - fades[number + 1] // 2
        where = f"track {track.name}: the span at sample {span.start}"
        for filled in span.filled:
            low, high = filled.extent
            if span.pass_name in (None, filled.pass_name) or reels.get(filled.pass_name) not in track.reels:
                raise ValueError(f"{where} is filled from {filled.pass_name}, no other pass of its reels")
            if low < heard[0] or high > heard[1]:
                raise ValueError(f"{where} is filled from {filled.pass_name} beyond its ends")
            if filled.pass_start + low < 0 or filled.pass_start + high > _length(
                record, track, filled.pass_name
            ):
                raise ValueError(f"{where} is filled from beyond the ends of {filled.pass_name}")
        _check_overlaps(span, where)


def _check_overlaps(span: RecordedSpan, where: str) -> None:
    if not span.filled:
        return
    try:
        is_double = Runs(run for filled in span.filled for run in filled.at).has_twice(MOST_PAIRS)
    except ValueError as error:
        raise ValueError(f"{where} is filled in a way that cannot be looked through: {error}") from error
    if is_double:
        raise ValueError(f"{where} is filled twice with the same sample")


def _length(record: RecordedSet, track: RecordedTrack, name: str) -> int:
    """Return how many samples a pass has of a track."""
    one = record.pass_named(name)
    return one.files[one.channels[record.tape_track(track, one.reel)][0]].samples
