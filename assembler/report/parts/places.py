"""The tables of places: what is open, what a person let stand, flaws of passes, notes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assembler.report.grouping import TextLine, group_lines
from assembler.report.outcomes import outcome_words
from assembler.report.parts.tables import Cell, Column, Row, Table, plain
from assembler.report.reasons import reason_words, with_reason

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.record.recorded.whole import RecordedSet, RecordedUncured
    from assembler.report.parts.marks import Marks

LISTEN = (
    "Turn the level down before you listen. Each stands in the set as the pass has it that is marked as taken; "
    "where none is, silence."
)
_PLACE = (
    Column("From", "from"),
    Column("To", "to"),
    Column("Reel"),
    Column("Track"),
    Column("Kind"),
    Column("Samples", "number"),
    Column("What each pass has"),
)


def place_tables(record: RecordedSet, marks: Marks) -> list[Table]:
    """Return the tables of uncured and of accepted places, without those that would be empty."""
    numbered = sorted(enumerate(record.uncured), key=lambda pair: (pair[1].start, pair[1].end, pair[0]))
    opened = [_place_row(number, one, marks) for number, one in numbered if one.accepted is None]
    closed = [_place_row(number, one, marks) for number, one in numbered if one.accepted is not None]
    tables = (
        Table("uncured", "Uncured: no pass has these right", _PLACE, tuple(opened), LISTEN, is_open=True),
        Table(
            "accepted",
            "Accepted: no pass has these right, and a person lets them stand",
            (*_PLACE, Column("Accepted by"), Column("Reason")),
            tuple(closed),
            LISTEN,
        ),
    )
    return [table for table in tables if table.rows]


def _place_row(number: int, one: RecordedUncured, marks: Marks) -> Row:
    held = "; ".join(
        f"{pass_.pass_name}{' (taken)' if pass_.is_taken else ''}: {pass_.text}" for pass_ in one.held
    )
    cells: tuple[str, ...] = (
        *marks.ends(one.start, one.end),
        one.reel,
        one.track,
        one.kind,
        str(one.end - one.start),
        held,
    )
    if one.accepted is not None:
        cells = (*cells, one.accepted.by, one.accepted.reason)
    return Row(
        name=f"place-{number}",
        cells=cells,
        start=one.start,
        end=one.end,
        tracks=marks.numbers([one.track]),
        passes=marks.passes(pass_.pass_name for pass_ in one.held),
        kind=plain(one.kind),
        view="place",
    )


def flaw_table(record: RecordedSet, marks: Marks) -> Table:
    """Return the table of flaws: where each lies, what became of it, and why it is reported."""
    rows = []
    for number, one in enumerate(record.passes):
        for count, flaw in enumerate(one.flaws):
            at, end = marks.range_of(one, flaw.start, flaw.end)
            outcome = outcome_words(at, end, record.length, is_cured=flaw.is_cured)
            cells = (
                "",
                Cell(one.name, f"p{number % 8}"),
                flaw.kind,
                str(end - at if flaw.samples is None else flaw.samples),
                ", ".join(str(track + 1) for track in flaw.tracks),
                Cell(outcome, is_open=outcome == "not cured"),
                reason_words(flaw.because.rule, flaw.because.nats) if flaw.because else "",
            )
            rows.append(
                Row(
                    name=f"flaw-{number}-{count}",
                    cells=cells,
                    start=at,
                    end=end,
                    tracks=marks.delivered(one.reel, flaw.tracks),
                    passes=(number,),
                    kind=plain(flaw.kind),
                    view="flaw",
                )
            )
    columns = (
        Column("At", "from"),
        Column("Pass"),
        Column("Kind"),
        Column("Samples", "number"),
        Column("Tape tracks"),
        Column("Outcome"),
        Column("Because"),
    )
    rows.sort(key=lambda row: (row.start or 0, row.passes))
    return Table("flaws", "Flaws of the passes", columns, tuple(_labelled(rows, marks)))


def _labelled(rows: Sequence[Row], marks: Marks) -> list[Row]:
    """Return rows with their place in their first cell."""
    labels = marks.starts(row.start for row in rows if row.start is not None)
    return [
        replace(row, cells=(labels[row.start] if row.start is not None else "", *row.cells[1:]))
        for row in rows
    ]


def note_lines(record: RecordedSet) -> list[TextLine]:
    """Return the notes in lines, in the order of `group_lines` and within it of time, each with its number."""
    ordered = sorted(enumerate(record.notes), key=lambda pair: -1 if pair[1].start is None else pair[1].start)
    return group_lines(
        TextLine(
            one.kind,
            one.pass_name,
            with_reason(one.text, one.because.rule, one.because.nats) if one.because else one.text,
            one.theme,
            one.count,
            one.needs_a_person,
            number,
        )
        for number, one in ordered
    )


def note_table(record: RecordedSet, marks: Marks) -> Table:
    """Return the table of notes; one on a place opens as a place does."""
    rows = _labelled([_note_row(line, record, marks) for line in note_lines(record)], marks)
    columns = (Column("At", "from"), Column("Kind"), Column("Pass"), Column("What"))
    return Table("notes", "Notes: corrections and findings", columns, tuple(rows))


def _note_row(line: TextLine, record: RecordedSet, marks: Marks) -> Row:
    note = record.notes[line.number]
    names = {note.pass_name}
    if line.pass_name is None and note.theme:
        names = {one.pass_name for one in record.notes if (one.kind, one.theme) == (note.kind, note.theme)}
    whose = next((one for one in record.passes if one.name == note.pass_name), None)
    start = end = None
    tracks = note.tracks
    if whose is not None and note.start is not None and whose.stretches:
        start, end = marks.range_of(whose, note.start, note.end)
        # A place of no track by itself is one of all of them.
        tracks = tracks or tuple(range(len(whose.channels)))
    return Row(
        name=f"note-{line.number}",
        cells=("", plain(line.kind), line.pass_name or "", line.text),
        start=start,
        end=end,
        tracks=marks.delivered(whose.reel, tracks) if whose else (),
        passes=tuple(sorted(marks.passes(names))),
        kind=plain(line.kind),
        view="" if start is None else "note",
        is_open=line.needs_a_person,
    )
