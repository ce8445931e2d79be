"""What a person is shown on the terminal: tables of passes and tracks, then what needs attention."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from rich.table import Table

from assembler.aligner import held_words
from assembler.cli.accepting import accepted_tables
from assembler.cli.consoles import PlainConsole
from assembler.report import TextLine, because_words, group_lines, outcome_words, with_reason
from assembler.states import shares_of, shares_words, worst_of
from assembler.timecode import format_place, format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from assembler.aligner import AlignedPass, Edit, Uncured
    from assembler.consolidator import SessionResult, VerifyResult
    from assembler.importer import Position
    from assembler.notes import Note
    from assembler.sheet import Sheet

MOST_LINES = 20
"""Flaws and places of one kind listed on the terminal; all of them are in the record."""

APART_SHARE = 0.75
"""Passes whose places against each other are no surer than this share of each place itself need no column for it."""


def print_check(result: SessionResult, *, tables: bool = False) -> None:
    """Print what a check found; with ``tables`` what a person may paste into the sheet to close what is open."""
    console = PlainConsole()
    _print_session(console, result)
    _print_verdict(console, result)
    found = accepted_tables(result.sheet, result.edit)
    if found and not tables:
        console.print("What may stand, once you have listened, is closed in the sheet: --tables prints how.")
    elif found:
        console.print("For the sheet, where you have listened and it may stand; say why, and who you are:")
    for line in "\n".join(found).splitlines() if tables else ():
        console.print(line, soft_wrap=True)


def print_set(result: SessionResult) -> None:
    """Print what was built."""
    console = PlainConsole()
    _print_session(console, result)
    console.print(_tracks_table(result.edit))
    _print_verdict(console, result)
    console.print(f"Set: {result.target}", soft_wrap=True)
    console.print(f"Page: {result.target}/data/report.html", soft_wrap=True)
    console.print(f"Tracks: {result.target}/data/tracks", soft_wrap=True)


def print_verified(folder: Path, result: VerifyResult) -> None:
    """Print the outcome of verifying."""
    console = PlainConsole()
    for problem in result.problems:
        console.print(f"{folder / problem.path}: {problem.text}", soft_wrap=True)
    size = f"{result.files} files, {result.bytes / 1e6:.1f} MB, {result.tracks} tracks"
    if result.is_sound:
        proved = (
            f", {result.proved_samples} samples proved from the captures" if result.proved_samples else ""
        )
        console.print(f"In order: {folder}: {size}{proved}", soft_wrap=True)
    else:
        count = len(result.problems)
        console.print(f"Not in order: {folder}: {count} problem{'s' * (count != 1)}; {size}", soft_wrap=True)


def _print_session(console: PlainConsole, result: SessionResult) -> None:
    edit, sheet = result.edit, result.sheet
    rate = frame_rate(sheet.session.frame_rate)
    seconds = edit.length / sheet.session.sample_rate
    start = format_sample(edit.start_sample, rate, sheet.session.sample_rate)
    console.print(
        f"{sheet.session.title}: {len(edit.tracks)} tracks of {seconds:.3f} s from {start}", soft_wrap=True
    )
    console.print(_passes_table(result))
    for one in edit.passes:
        _print_flaws(console, result, one)
    for name, states in edit.states.items():
        console.print(f"Reel {name}: {shares_words(shares_of(worst_of(states)))}", soft_wrap=True)


_LEFT_COLUMNS = ("Pass", "Reel", "From", "To", "Position", "Clock")
_RIGHT_COLUMNS = ("Rate", "Slope ppm", "Jitter ms", "Missing", "± samples", "± ms")


def _passes_table(result: SessionResult) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in _LEFT_COLUMNS:
        table.add_column(name)
    is_apart = any(_gains_apart(one.imported.position) for one in result.edit.passes)
    for name in (*_RIGHT_COLUMNS, *(["± apart"] if is_apart else []), "Flaws"):
        table.add_column(name, justify="right")
    for one in result.edit.passes:
        apart = one.imported.position.apart_samples
        own = [("–" if apart is None else f"{apart:.2f}")] if is_apart else []
        table.add_row(*_pass_row(result, one), *own, str(len(one.flaws)))
    return table


def _gains_apart(position: Position) -> bool:
    """Return whether a pass lies surer against the others than by itself: else there is nothing to show."""
    return (
        position.apart_samples is not None
        and position.apart_samples < APART_SHARE * position.uncertainty_samples
    )


def _pass_row(result: SessionResult, one: AlignedPass) -> list[str]:
    session = result.sheet.session
    position, clock = one.imported.position, one.imported.position.clock
    rate = frame_rate(session.frame_rate)
    ends = ["not used", ""]
    if one.time_map is not None:
        places = (one.time_map.start, one.time_map.end)
        ends = [format_sample(place, rate, session.sample_rate) for place in places]
    return [
        one.imported.name,
        one.imported.reel,
        *ends,
        position.source,
        clock.verdict if clock else "–",
        str(one.imported.audio.sample_rate),
        f"{clock.slope_ppm:+.1f}" if clock else "–",
        f"{1000 * clock.jitter_seconds:.2f}" if clock else "–",
        _share(clock.missing_share) if clock else "–",
        f"{position.uncertainty_samples:.2f}",
        f"{1000 * position.uncertainty_samples / session.sample_rate:.3f}",
    ]


def _share(share: float) -> str:
    """Return a share in per cent; little is not told as nothing."""
    return "<0.1%" if 0 < share < 0.0005 else f"{share:.1%}"


def _print_flaws(console: PlainConsole, result: SessionResult, one: AlignedPass) -> None:
    sheet = result.sheet
    rate = frame_rate(sheet.session.frame_rate)
    reel = next(reel for reel in sheet.reels if reel.name == one.imported.reel)
    for flaw in one.flaws[:MOST_LINES]:
        names = ", ".join(reel.tracks[track] or str(track + 1) for track in flaw.tracks)
        if one.time_map is None:
            continue
        places = one.time_map.timeline_ranges(flaw.start, max(flaw.end, flaw.start + 1))
        at = format_sample(places[0][0], rate, sheet.session.sample_rate) if places else "–"
        start = (places[0][0] if places else one.time_map.start) - result.edit.start_sample
        size = f"{flaw.samples:+d}" if flaw.samples is not None else str(flaw.end - flaw.start)
        reason = because_words(flaw.because.rule.value, flaw.because.nats)
        state = outcome_words(start, start + flaw.end - flaw.start, result.edit.length, is_cured=flaw.cured)
        console.print(
            f"  {one.imported.name} {at} {flaw.kind}, {size} samples, {state}: {names}; {reason}",
            soft_wrap=True,
        )
    _print_rest(console, len(one.flaws))


def _print_rest(console: PlainConsole, count: int) -> None:
    if count > MOST_LINES:
        console.print(f"  and {count - MOST_LINES} more; --json lists all")


def _tracks_table(edit: Edit) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in ("No.", "Track", "Spans", "Joins", "Fades", "From passes", "Uncured"):
        table.add_column(name, justify="left" if name in ("Track", "From passes") else "right")
    uncured = Counter(place.track.number for place in edit.uncured)
    for track in edit.tracks:
        passes = dict.fromkeys(
            name
            for span in track.spans
            for name in (span.pass_name, *(filled.pass_name for filled in span.filled))
            if name
        )
        table.add_row(
            str(track.track.number),
            track.track.name,
            str(len(track.spans)),
            str(len(track.joins)),
            str(sum(1 for join in track.joins if join.fade)),
            ", ".join(passes),
            str(uncured[track.track.number]),
        )
    return table


def _print_verdict(console: PlainConsole, result: SessionResult) -> None:
    edit = result.edit
    _print_list(console, "Notes", note_lines(edit.notes))
    woven = [(track.track.name, track.woven) for track in edit.tracks if track.woven]
    _print_list(console, "Woven sample by sample", [_woven_line(*one, result.sheet) for one in woven])
    places = [(place, _uncured_line(place, edit, result.sheet)) for place in edit.uncured]
    closed = [f"{line}; accepted by {place.accepted.by}" for place, line in places if place.accepted]
    _print_list(console, "Accepted", closed)
    _print_list(console, "Uncured", [line for place, line in places if not place.accepted])
    if edit.is_sound:
        console.print("In order: nothing is left for a person to decide.")
    else:
        console.print("Needs a person: see the notes and the uncured places above.")


def _woven_line(track: str, stretches: Sequence[tuple[int, int]], sheet: Sheet) -> str:
    seconds = sum(high - low for low, high in stretches) / sheet.session.sample_rate
    return f"{track}: {_counted(len(stretches), 'stretch', 'es')}, {seconds:.3f} s, each sample from a pass that has it"


def _uncured_line(place: Uncured, edit: Edit, sheet: Sheet) -> str:
    rate, sample_rate = frame_rate(sheet.session.frame_rate), sheet.session.sample_rate
    ends = (format_place(edit.start_sample + at, rate, sample_rate) for at in (place.start, place.end))
    line = (
        f"{' to '.join(ends)}, reel {place.reel}, {place.track.name}: {place.kind}, "
        f"{_counted(place.end - place.start, 'sample')}"
    )
    return f"{line} ({held_words(place.held)})" if place.held else line


def _counted(count: int, what: str, more: str = "s") -> str:
    return f"{count} {what}{more * (count != 1)}"


def note_lines(notes: Iterable[Note]) -> list[str]:
    """Return the lines of the notes in the order in which they are read; those of one theme share one."""
    lines = group_lines(
        TextLine(
            note.kind,
            note.pass_name,
            with_reason(note.text, note.rule, note.nats),
            note.theme,
            note.count,
            note.needs_a_person,
        )
        for note in notes
    )
    return [f"{line.kind}: {line.text}" for line in lines]


def _print_list(console: PlainConsole, title: str, lines: Iterable[str]) -> None:
    listed = list(lines)
    if listed:
        console.print(f"{title}:")
    for line in listed[:MOST_LINES]:
        console.print(f"  {line}", soft_wrap=True)
    _print_rest(console, len(listed))
