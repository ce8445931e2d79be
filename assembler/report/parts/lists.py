"""The other tables: passes, levels, woven stretches, joins, files."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.report.parts.tables import Cell, Column, Row, Table, plain

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.record.recorded.passes import RecordedPass
    from assembler.record.recorded.tracks import RecordedJoin, RecordedTrack
    from assembler.record.recorded.whole import RecordedSet
    from assembler.report.parts.marks import Marks

_LEVELS = (
    ("integrated_lufs", "Integrated LUFS"),
    ("loudness_range_lu", "Range LU"),
    ("true_peak_dbtp", "True peak dBTP"),
    ("sample_peak_dbfs", "Sample peak dBFS"),
)
_COMPARED = ("identical", "constant_power", "cut")
"""Laws of joins whose sides were compared."""


def _columns(*labels: str) -> tuple[Column, ...]:
    """Return columns: a label that ends in # is one of numbers."""
    places = {"From": "from", "At": "from", "First": "from", "To": "to", "Last": "to"}
    return tuple(
        Column(label.rstrip("#"), "number" if label.endswith("#") else places.get(label, "text"))
        for label in labels
    )


def pass_table(record: RecordedSet, marks: Marks) -> Table:
    """Return the table of passes."""
    rows = tuple(_pass_row(number, one, record, marks) for number, one in enumerate(record.passes))
    columns = _columns(
        "Pass", "Reel", "From", "To", "Position by", "± samples#", "Clock", "Files#", "Slips#", "Flaws#"
    )
    return Table("passes", "Passes", columns, rows)


def _pass_row(number: int, one: RecordedPass, record: RecordedSet, marks: Marks) -> Row:
    start = end = None
    if one.stretches:
        last = one.stretches[-1]
        start = one.stretches[0].timeline_start - record.start.sample
        end = last.timeline_start + last.pass_end - last.pass_start - record.start.sample
    slips = sum(flaw.kind == "slip" for flaw in one.flaws)
    cells = (
        Cell(f"{one.name}{'' if one.used else ' (not used)'}", f"p{number % 8}"),
        one.reel,
        "" if start is None else marks.frame(start),
        "" if end is None else marks.frame(end),
        one.clock.source,
        f"{one.clock.whole_uncertainty_samples:.2f}",
        one.clock.verdict,
        str(len(one.files)),
        str(slips),
        str(len(one.flaws) - slips),
    )
    tracks = marks.delivered(one.reel, range(len(one.channels)))
    return Row(f"pass-{number}", cells, start, end, tracks, (number,))


def level_table(record: RecordedSet) -> Table:
    """Return the table of what was measured on the delivered tracks."""
    columns = _columns(
        "No.#", "Track", *(f"{label}#" for _, label in _LEVELS), "Bits in use#", "Clipped runs#"
    )
    rows = []
    for track in record.tracks:
        levels = track.levels
        values = [None if levels is None else getattr(levels, key) for key, _ in _LEVELS]
        counts = ("–", "–") if levels is None else (str(levels.bits_in_use), str(levels.clipped_runs))
        told = ("–" if value is None else f"{value:.2f}" for value in values)
        rows.append(Row("", (str(track.number), track.name, *told, *counts), tracks=(track.number,)))
    return Table("levels", "Levels of the delivered tracks", columns, tuple(rows))


def woven_table(record: RecordedSet, marks: Marks) -> Table:
    """Return the table of woven stretches: where, of which pass, how much of it is filled from which other one."""
    rows = []
    for track in record.tracks:
        for span, filled in track.woven:
            low, high = (span.start + place for place in filled.extent)
            cells = (
                *marks.ends(low, high),
                track.name,
                span.pass_name or "",
                filled.pass_name,
                str(filled.samples),
                str(high - low),
            )
            passes = marks.passes((span.pass_name, filled.pass_name))
            rows.append(Row("", cells, low, high, (track.number,), passes, "", "woven"))
    rows.sort(key=lambda row: (row.start or 0, row.tracks))
    words = (
        "No pass has one of these right as a whole. Each sample is right in some pass, and is taken from there; "
        "nothing is computed."
    )
    columns = _columns("From", "To", "Track", "Pass", "Filled from", "Samples filled#", "of#")
    return Table("woven", "Woven stretches", columns, tuple(rows), words)


def _sided(
    record: RecordedSet,
) -> Iterator[tuple[RecordedTrack, RecordedJoin, tuple[str | None, str | None]]]:
    for track in record.tracks:
        for join, (before, behind) in zip(track.joins, pairwise(track.spans), strict=True):
            yield track, join, (before.pass_name, behind.pass_name)


def _sides(sides: tuple[str | None, str | None]) -> str:
    return " → ".join(name or "silence" for name in sides)


def join_table(record: RecordedSet, marks: Marks) -> Table:
    """Return the table of the joins whose sides are not the same numbers, one a row."""
    found = [one for one in _sided(record) if one[1].law != "identical"]
    labels = marks.starts(join.at for _, join, _ in found)
    rows = []
    for track, join, sides in sorted(found, key=lambda one: (one[1].at, one[0].number)):
        compared = join.law in _COMPARED
        cells = (
            labels[join.at],
            track.name,
            _sides(sides),
            plain(join.law),
            str(join.fade),
            str(join.correlation) if compared else "–",
            str(join.difference_peak) if compared else "–",
        )
        start = join.at - join.fade // 2
        passes = marks.passes(sides)
        name = f"join-{track.number}-{join.at}"
        rows.append(Row(name, cells, start, start + join.fade, (track.number,), passes, "", "join"))
    columns = _columns("At", "Track", "From → to", "Law", "Fade#", "Correlation#", "Difference peak#")
    return Table("joins", "Joins", columns, tuple(rows), rest="joins.csv")


def identical_table(record: RecordedSet, marks: Marks) -> Table:
    """Return the joins between identical sides: a row for each two passes, however many joins they have."""
    groups = defaultdict(list)
    for track, join, sides in _sided(record):
        if join.law == "identical":
            groups[sides].append((join.at, track))
    rows = []
    for sides, joins in groups.items():
        places = {at for at, _ in joins}
        tracks = {track.number: track.name for _, track in joins}
        cells = (
            marks.frame(min(places)),
            marks.frame(max(places)),
            _sides(sides),
            str(len(joins)),
            str(len(places)),
            ", ".join(tracks[number] for number in sorted(tracks)),
        )
        rows.append(
            Row(
                "", cells, min(places), max(places), tuple(sorted(tracks)), tuple(sorted(marks.passes(sides)))
            )
        )
    rows.sort(key=lambda row: (row.start or 0, row.end or 0))
    words = (
        "Both passes hold the same numbers around these joins, so nothing is computed and there is nothing to hear. "
        "Each stands in joins.csv."
    )
    columns = _columns("First", "Last", "From → to", "Joins#", "Places#", "Tracks")
    return Table("identical", "Joins between identical sides", columns, tuple(rows), words, "joins.csv")


def file_table(record: RecordedSet) -> Table:
    """Return the table of track files and the digests of their samples."""
    columns = _columns("Track file", "SHA-256 of the samples alone")
    rows = (
        Row("", (track.file, Cell(track.audio_sha256, is_code=True)), tracks=(track.number,))
        for track in record.tracks
    )
    return Table("files", "Files", columns, tuple(rows))
