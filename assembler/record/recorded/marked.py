"""Places of a set that somebody has to listen to, or has: what no pass has right, and what nothing could decide."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.record.recorded.passes import RecordedPass
    from assembler.record.recorded.whole import RecordedNote, RecordedSet, RecordedWord


@dataclass(frozen=True)
class MarkedPlace:
    """A place of a delivered track, in samples of the set.

    Args:
        start: first sample.
        end: first one after it.
        words: what it is: "uncured" with its kind, "undecided", or "pass as it is".
        accepted: a person's word that it may stand.
    """

    start: int
    end: int
    words: str
    accepted: RecordedWord | None


def marked_on_tracks(record: RecordedSet) -> dict[str, list[MarkedPlace]]:
    """Return the places of each track that has any, by its name: uncured ones first, each in the record's order."""
    places: dict[str, list[MarkedPlace]] = {}
    for one in record.uncured:
        found = MarkedPlace(one.start, one.end, f"uncured {one.kind}", one.accepted)
        places.setdefault(one.track, []).append(found)
    passes = {one.name: one for one in record.passes}
    reels = {reel.name: reel for reel in record.reels}
    for note in record.notes:
        whose = passes.get(note.pass_name or "")
        # A note that tells what passes hold is on an undecided place; another that a person has closed is marked, too.
        if whose is None or not (note.held or note.accepted):
            continue
        names = reels[whose.reel].tracks
        words = "undecided" if note.held else "pass as it is"
        for start, end in _in_set(note, whose, record):
            for track in note.tracks or range(len(names)):
                if track < len(names):
                    found = MarkedPlace(start, end, words, note.accepted)
                    places.setdefault(names[track], []).append(found)
    return places


def _in_set(note: RecordedNote, one: RecordedPass, record: RecordedSet) -> Iterator[tuple[int, int]]:
    """Yield where the samples of a pass that a note names lie in the set, from the first to after the last.

    A note without a place is on the whole pass.
    """
    whole = not note.held and note.start is None
    if not whole and (note.start is None or note.end is None):
        return
    ranges = [
        (
            stretch.timeline_start - stretch.pass_start + low,
            stretch.timeline_start - stretch.pass_start + high,
        )
        for stretch in one.stretches
        for low, high in [
            (max(note.start or 0, stretch.pass_start), min(note.end or stretch.pass_end, stretch.pass_end))
        ]
        if low < high
    ]
    if ranges:
        first = record.start.sample
        start, end = max(0, ranges[0][0] - first), min(record.length, ranges[-1][1] - first)
        if start < end:
            yield start, end
