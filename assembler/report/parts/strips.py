"""What is drawn without a script: from which pass each track comes, and what of each tape is saved for certain."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from assembler.verdict.states import State, shares_of, shares_words, state_words

if TYPE_CHECKING:
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedReel, RecordedSet
    from assembler.report.parts.marks import Marks

DRAWN_WIDTH = 1000.0

HEIGHTS = {
    State.PROVEN: 14,
    State.SEEN_ONCE: 9,
    State.SUSPECT: 6,
    State.FLAWED: 18,
    State.MISSING: 3,
}
"""Of a drawn state, of 18: all differ, so that states are told apart without colours, too."""


@dataclass(frozen=True)
class Bar:
    """A drawn stretch: left edge and width in drawing units, class of its tone, what to say of it, its height."""

    left: float
    width: float
    tone: str
    title: str
    height: int = 18


@dataclass(frozen=True)
class Strip:
    """A drawn line: its name, a number before it, words on it, and its bars, with those of open places on top."""

    name: str
    number: int | None
    words: str
    bars: tuple[Bar, ...]
    opened: tuple[Bar, ...] = ()


def track_strips(record: RecordedSet, marks: Marks) -> list[Strip]:
    """Return a strip for each delivered track."""
    strips = []
    for track in record.tracks:
        opened = tuple(
            Bar(
                DRAWN_WIDTH * place.start / record.length,
                max(4.0, DRAWN_WIDTH * (place.end - place.start) / record.length),
                "open",
                f"{track.name}: {place.kind}, {marks.place(place.start)}",
            )
            for place in record.uncured
            if place.track == track.name
        )
        strips.append(Strip(track.name, track.number, "", _track_bars(track, record, marks), opened))
    return strips


def _track_bars(track: RecordedTrack, record: RecordedSet, marks: Marks) -> tuple[Bar, ...]:
    return tuple(
        Bar(
            DRAWN_WIDTH * span.start / record.length,
            # A span too short to see is drawn wide enough to be found.
            max(1.5, DRAWN_WIDTH * (span.end - span.start) / record.length),
            f"p{marks.pass_numbers.get(span.pass_name, 0) % 8}",
            f"{track.name}: {span.pass_name}, {marks.frame(span.start)} to {marks.frame(span.end)}",
        )
        for span in sorted(track.spans, key=lambda span: span.start - span.end)
        if span.pass_name is not None
    )


def reel_strips(record: RecordedSet, marks: Marks) -> list[Strip]:
    """Return a strip for each reel whose states are recorded: each column in the worst state in it."""
    return [_reel_strip(reel, record, marks) for reel in record.reels if reel.states]


def _reel_strip(reel: RecordedReel, record: RecordedSet, marks: Marks) -> Strip:
    stretches = reel.worst_states()
    # In whole numbers: a stretch that ends with the set ends with the last column.
    width = int(DRAWN_WIDTH)
    columns: list[State | None] = [None] * width
    order = list(State)
    for one in sorted(stretches, key=lambda stretch: order.index(stretch.state)):
        start = max(0, one.start - record.start.sample)
        end = min(record.length, one.end - record.start.sample)
        if start < end:
            low, high = start * width // record.length, -(-end * width // record.length)
            columns[low:high] = [one.state] * (high - low)
    bars = []
    at = 0
    for state, run in groupby(columns):
        size = len(list(run))
        if state is not None:
            low, high = (column * record.length // width for column in (at, at + size))
            title = f"{reel.name}: {state_words(state)}, {marks.frame(low)} to {marks.frame(high)}"
            bars.append(Bar(at, size, f"s-{state.value}", title, HEIGHTS[state]))
        at += size
    return Strip(f"Reel {reel.name}", None, shares_words(shares_of(stretches)), tuple(bars))
