"""What set the status of a set: every open place and every question, each with the row that it stands in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.report.parts.tables import MOST_ROWS, plain

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.record.recorded.whole import RecordedSet, RecordedUncured
    from assembler.report.grouping import TextLine
    from assembler.report.parts.marks import Marks

SHOWN = 8
"""Reasons that stand in the banner at once; the others open."""


@dataclass(frozen=True)
class Cause:
    """Something that asks for a person: in words, and the row that it links to."""

    words: str
    row: str


def summary(record: RecordedSet) -> str:
    """Return how much asks for a person, in one sentence: only what there is."""
    uncured = sum(place.accepted is None for place in record.uncured)
    asking = sum(one.needs_a_person for one in record.notes)
    counts = []
    if uncured:
        counts.append("1 uncured place" if uncured == 1 else f"{uncured:,} uncured places")
    if asking:
        notes = "1 note" if asking == 1 else f"{asking:,} notes"
        counts.append(f"{notes} with a question that only a person can answer")
    return f"{' and '.join(counts)}." if counts else ""


def causes(record: RecordedSet, lines: list[TextLine], marks: Marks) -> list[Cause]:
    """Return what set the status: open places in the order of time, tracks of one event together, then questions.

    Args:
        record: of the set.
        lines: its notes as `note_lines` has them.
        marks: of the record.
    """
    found = list(_places(record, marks))
    for line in lines:
        if line.needs_a_person:
            about = f"{line.pass_name}: " if line.pass_name and line.pass_name not in line.text else ""
            found.append(Cause(f"{plain(line.kind)}: {about}{line.text}", f"note-{line.number}"))
    return found[:MOST_ROWS]


def _places(record: RecordedSet, marks: Marks) -> Iterator[Cause]:
    events: dict[tuple[int, int, str, str], list[tuple[int, RecordedUncured]]] = {}
    for number, one in enumerate(record.uncured):
        if one.accepted is None:
            events.setdefault((one.start, one.end, one.reel, one.kind), []).append((number, one))
    for (start, end, reel, kind), places in sorted(events.items(), key=lambda pair: pair[0]):
        tracks = ", ".join(one.track for _, one in places)
        size = "1 sample" if end - start == 1 else f"{end - start} samples"
        words = f"{marks.place(start)}, reel {reel}, {tracks}: {plain(kind)}, {size}, right in no pass"
        yield Cause(words, f"place-{places[0][0]}")
