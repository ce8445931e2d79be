"""The edit for other programs: ``timeline.otio`` for OpenTimelineIO readers.

It follows from the record of the set. What a timeline file says is held in ``Timeline``, made from the record or
read from a file, so that the two can be compared to the sample.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet

_OURS = "capture-assembler"


MARK_COLORS = {
    "open": "ORANGE",
    "accepted": "PURPLE",
    "woven": "CYAN",
    "join": "YELLOW",
    "nothing to hear": "WHITE",
}
"""Colours of marks by what they mean, by names that the format has: what asks for somebody stands out."""


@dataclass(frozen=True)
class TimelineItem:
    """A clip of a pass, or a gap where ``pass_name`` is None. All in samples.

    Args:
        pass_name: the pass.
        target: the capture file, relative to the sheet's folder.
        channel: of the file, from 1.
        source_start: first sample taken from the file.
        length: of the item.
        available: samples in the file.
    """

    pass_name: str | None
    target: str
    channel: int
    source_start: int
    length: int
    available: int


@dataclass(frozen=True)
class TimelineMark:
    """A named place of a track, in samples from the set's first one; a join has no length.

    A woven stretch is one: its clip is of the pass that it is in, the samples from others stand in the record. The
    colour, one of the format's names, only shows what a mark means: marks that differ in it alone say the same.
    """

    name: str
    at: int
    length: int
    color: str = field(default="", compare=False)


@dataclass(frozen=True)
class TimelineTrack:
    """A track: its items without gaps between them, and its marks."""

    name: str
    items: tuple[TimelineItem, ...]
    marks: tuple[TimelineMark, ...]


@dataclass(frozen=True)
class Timeline:
    """What a timeline file says: the edit to the sample."""

    title: str
    start_sample: int
    sample_rate: int
    tracks: tuple[TimelineTrack, ...]


def timeline_of(record: RecordedSet) -> Timeline:
    """Return what a set's timeline file is to say."""
    return Timeline(
        record.session.title,
        record.start.sample,
        record.session.sample_rate,
        tuple(
            TimelineTrack(track.name, _items(record, track), _marks(record, track)) for track in record.tracks
        ),
    )


def _items(record: RecordedSet, track: RecordedTrack) -> tuple[TimelineItem, ...]:
    items = []
    for span in track.spans:
        length = span.end - span.start
        if span.pass_name is None or span.pass_start is None:
            items.append(TimelineItem(None, "", 0, 0, length, 0))
            continue
        one = record.pass_named(span.pass_name)
        index, channel = one.channels[record.tape_track(track, one.reel)]
        file = one.files[index]
        items.append(TimelineItem(one.name, file.path, channel + 1, span.pass_start, length, file.samples))
    return tuple(items)


def _marks(record: RecordedSet, track: RecordedTrack) -> tuple[TimelineMark, ...]:
    joins = [
        TimelineMark(
            f"join, {join.law}, fade {join.fade}",
            join.at,
            0,
            MARK_COLORS["nothing to hear" if join.law == "identical" else "join"],
        )
        for join in track.joins
    ]
    listened = [
        TimelineMark(
            place.words + (f", accepted by {place.accepted.by}" if place.accepted else ""),
            place.start,
            place.end - place.start,
            MARK_COLORS["accepted" if place.accepted else "open"],
        )
        for place in record.marked_on(track)
    ]
    woven = [
        TimelineMark(
            f"woven {span.pass_name} with {filled.pass_name}, {filled.samples} of {high - low} samples",
            span.start + low,
            high - low,
            MARK_COLORS["woven"],
        )
        for span, filled in track.woven
        for low, high in [filled.extent]
    ]
    return (*joins, *listened, *woven)


def load_timeline_library() -> None:
    """Load all that writes a timeline file: what is missing of it is to be reported before the work and not after.

    Raises:
        ImportError: a part of the library is missing.
    """
    timeline_otio(Timeline("", 0, 48000, ()))


def timeline_otio(timeline: Timeline) -> bytes:
    """Return a timeline as OpenTimelineIO JSON.

    One track per delivered track, one clip per span that names the capture file and its exact source range at
    the sample rate, gaps for silence, markers on the tracks. A fade stands in the marker of its join and in the
    record; here a join is the border of two clips, so that the source ranges are those of the record.
    """
    import opentimelineio as otio  # noqa: PLC0415 - slow to load, and only a build or a check needs it

    rate = timeline.sample_rate
    whole = otio.schema.Timeline(
        name=timeline.title, global_start_time=otio.opentime.RationalTime(timeline.start_sample, rate)
    )
    for track in timeline.tracks:
        row = otio.schema.Track(name=track.name, kind=otio.schema.TrackKind.Audio)
        row.extend([_written_item(item, rate) for item in track.items])
        row.markers.extend(
            [
                otio.schema.Marker(
                    name=mark.name, marked_range=_range(mark.at, mark.length, rate), color=mark.color
                )
                for mark in track.marks
            ]
        )
        whole.tracks.append(row)
    text: str = otio.adapters.write_to_string(whole, "otio_json", indent=1)
    return (text + "\n").encode("utf-8")


def _range(start: int, length: int, rate: int) -> object:
    import opentimelineio as otio  # noqa: PLC0415

    time = otio.opentime.RationalTime
    return otio.opentime.TimeRange(time(start, rate), time(length, rate))


def _written_item(item: TimelineItem, rate: int) -> object:
    import opentimelineio as otio  # noqa: PLC0415

    source_range = _range(item.source_start, item.length, rate)
    if item.pass_name is None:
        return otio.schema.Gap(source_range=source_range)
    reference = otio.schema.ExternalReference(
        target_url=item.target, available_range=_range(0, item.available, rate)
    )
    reference.metadata[_OURS] = {"channel": item.channel}
    return otio.schema.Clip(name=item.pass_name, media_reference=reference, source_range=source_range)


def read_timeline(data: bytes) -> Timeline:
    """Return what a timeline file says.

    Raises:
        ValueError: it is no OpenTimelineIO file, or holds what a set's timeline does not: other items, times that
            are not whole samples.
    """
    import opentimelineio as otio  # noqa: PLC0415

    try:
        whole = otio.adapters.read_from_string(data.decode("utf-8"), "otio_json")
        rate = int(whole.global_start_time.rate)
        return Timeline(
            whole.name,
            _samples(whole.global_start_time, rate),
            rate,
            tuple(_read_track(track, rate) for track in whole.tracks),
        )
    except (
        otio.exceptions.OTIOError,
        ValueError,
        AttributeError,
        TypeError,
        KeyError,
        OverflowError,
    ) as error:
        raise ValueError(
            f"is no timeline of a set: {str(error).splitlines()[0] if str(error) else error!r}"
        ) from error


def _read_track(track: Any, rate: int) -> TimelineTrack:  # noqa: ANN401 - the library ships no types
    return TimelineTrack(
        track.name,
        tuple(_read_item(item, rate) for item in track),
        tuple(
            TimelineMark(
                mark.name,
                _samples(mark.marked_range.start_time, rate),
                _samples(mark.marked_range.duration, rate),
            )
            for mark in track.markers
        ),
    )


def _read_item(item: Any, rate: int) -> TimelineItem:  # noqa: ANN401
    import opentimelineio as otio  # noqa: PLC0415

    start, length = _samples(item.source_range.start_time, rate), _samples(item.source_range.duration, rate)
    if isinstance(item, otio.schema.Gap):
        return TimelineItem(None, "", 0, start, length, 0)
    reference = item.media_reference
    available = _samples(reference.available_range.duration, rate)
    return TimelineItem(
        item.name, reference.target_url, int(reference.metadata[_OURS]["channel"]), start, length, available
    )


def _samples(time: Any, rate: int) -> int:  # noqa: ANN401
    if time.rate != rate or time.value != int(time.value):
        raise ValueError(f"{time.value} at rate {time.rate} is no whole sample at {rate}")
    return int(time.value)
