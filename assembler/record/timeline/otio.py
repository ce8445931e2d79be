"""``timeline.otio``: a timeline as OpenTimelineIO JSON, and back."""

from __future__ import annotations

from typing import Any

from assembler.record.timeline.timeline import Timeline, TimelineItem, TimelineMark, TimelineTrack

_OURS = "capture-assembler"


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
