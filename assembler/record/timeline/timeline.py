"""What a timeline file says, made from the record of a set or read from a file, so that the two can be compared."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet

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
