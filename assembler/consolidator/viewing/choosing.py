"""Which places have views, and which of these get waveforms and clips, before anything is rendered.

What nothing cured comes first, then joins that are computed, then flaws that were cured, then the other joins whose
sides are not the same numbers: slips and ends of passes. Of what befell several tracks at once each has its waveforms
as far as there is room, and the first track its clips before the second one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Final

from assembler.aligner import CONSTANT_POWER, CUT, IDENTICAL
from assembler.consolidator.viewing.layout import clip_of, frames_of
from assembler.consolidator.viewing.limits import (
    CLIP_BITS,
    COLUMNS,
    FLAC_SHARE,
    MOST_CLIP_BYTES,
    MOST_WINDOW_BYTES,
    NUMBER_BYTES,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.consolidator.viewing.layout import Frame
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet

COMPUTED: Final = frozenset({CONSTANT_POWER, CUT})
"""Laws of joins that can be heard, or might be."""

_UNCURED, _JOIN, _CURED, _BORDER = range(4)


@dataclass(frozen=True)
class Choice:
    """A place of one track that has a view.

    Args:
        order: its place among all of the set, by what they count.
        track: number of the delivered track.
        start: first sample of the set.
        end: first one after it.
        is_join: whether it is a join.
        columns: of its windows at most; 0 for no windows.
        has_clips: whether it is heard.
    """

    order: int
    track: int
    start: int
    end: int
    is_join: bool
    columns: int
    has_clips: bool


@dataclass(frozen=True)
class Limits:
    """How many bytes of each kind a page may hold."""

    windows: int = MOST_WINDOW_BYTES
    clips: int = MOST_CLIP_BYTES


def choose_places(
    record: RecordedSet, covered: Mapping[int, Sequence[Range]], limits: Limits | None = None
) -> tuple[Choice, ...]:
    """Return the places of a set in the order in which they count.

    Args:
        record: the set as it is planned.
        covered: for each track's number the ranges of the set that its passes hold, one for each piece of a pass.
        limits: of the page, as it is reckoned; what has been made is measured by `gather_views`.
    """
    limits = limits or Limits()
    places = _in_order(_places(record))
    sources = [_holding(covered.get(place.track, ()), place.range) for place in places]
    columns, has_windows = _windows_within(record, places, sources, limits.windows)
    heard = _clips_within(record, places, sources, limits.clips)
    return tuple(
        Choice(
            order,
            place.track,
            *place.range,
            place.is_join,
            columns if order < has_windows else 0,
            order < heard,
        )
        for order, place in enumerate(places)
    )


@dataclass(frozen=True)
class _Place:
    track: int
    range: Range
    kind: int

    @property
    def is_join(self) -> bool:
        return self.kind in {_JOIN, _BORDER}


def _places(record: RecordedSet) -> Iterator[_Place]:
    numbers = {track.name: track.number for track in record.tracks}
    for track in record.tracks:
        for one in record.marked_on(track):
            yield _Place(track.number, (one.start, one.end), _UNCURED)
        yield from _joins(track)
    reels = {reel.name: reel.tracks for reel in record.reels}
    for each in record.passes:
        names = reels[each.reel]
        for flaw in each.flaws:
            found = record.range_in_set(each, flaw.start, flaw.end)
            for tape_track in flaw.tracks if found else ():
                number = numbers.get(names[tape_track])
                if number is not None and found:
                    yield _Place(number, found, _CURED)


def _joins(track: RecordedTrack) -> Iterator[_Place]:
    for join in track.joins:
        if join.law != IDENTICAL:
            low = join.at - join.fade // 2
            kind = _JOIN if join.law in COMPUTED else _BORDER
            yield _Place(track.number, (low, low + join.fade), kind)


def _in_order(places: Iterable[_Place]) -> list[_Place]:
    """Return places, each range of a track once, in the order in which they count."""
    first: dict[tuple[int, Range], _Place] = {}
    for place in places:
        known = first.get((place.track, place.range))
        if known is None or place.kind < known.kind:
            first[place.track, place.range] = place
    tracks: dict[tuple[int, Range], Iterator[int]] = {}
    ranked = []
    for place in sorted(first.values(), key=lambda one: (one.kind, one.range, one.track)):
        number = next(tracks.setdefault((place.kind, place.range), count()))
        ranked.append(((place.kind, number, place.range, place.track), place))
    return [place for _, place in sorted(ranked, key=lambda one: one[0])]


def _holding(covered: Sequence[Range], place: Range) -> int:
    """Return how many pieces of passes a place touches."""
    start, end = place
    return sum(low < max(end, start + 1) and start < high for low, high in covered)


def _windows_within(
    record: RecordedSet, places: Sequence[_Place], sources: Sequence[int], most: int
) -> tuple[int, int]:
    """Return the columns of a window, and how many places have any."""
    number_bytes = NUMBER_BYTES[record.session.word_length]

    def sizes(columns: int) -> list[int]:
        return [
            # Beside the passes there are the difference and the result, which is mostly one of them.
            number_bytes
            * (held + 1 + place.is_join)
            * sum(frame.numbers for frame in _frames(record, place, columns))
            for place, held in zip(places, sources, strict=True)
        ]

    for columns in COLUMNS:
        found = sizes(columns)
        if sum(found) <= most:
            return columns, len(places)
    return COLUMNS[-1], _within(found, most)


def _frames(record: RecordedSet, place: _Place, columns: int) -> list[Frame]:
    return frames_of(
        place.range,
        is_join=place.is_join,
        columns=columns,
        length=record.length,
        sample_rate=record.session.sample_rate,
    )


def _clips_within(record: RecordedSet, places: Sequence[_Place], sources: Sequence[int], most: int) -> int:
    """Return how many places are heard."""
    sizes = []
    for place, held in zip(places, sources, strict=True):
        start, end = clip_of(place.range, length=record.length, sample_rate=record.session.sample_rate)
        # What is delivered is mostly one of the passes; the same samples are embedded once. A fade is no pass's.
        clips = max(1, held) + place.is_join
        sizes.append(round(FLAC_SHARE * clips * (end - start) * CLIP_BITS / 8))
    return _within(sizes, most)


def _within(sizes: Sequence[int], most: int) -> int:
    """Return how many of the first sizes stay within a limit together."""
    total = 0
    for number, size in enumerate(sizes):
        total += size
        if total > most:
            return number
    return len(sizes)
