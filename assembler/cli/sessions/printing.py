"""What a person is shown on the terminal: the verdict, what asks for somebody, the passes, and then what was cured."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.padding import Padding
from rich.text import Text

from assembler.aligner import held_words
from assembler.cli.options.loudness import Loudness
from assembler.cli.sessions.accepting import accepted_tables
from assembler.cli.sessions.tables import flaw_lines, print_flaws, print_passes, print_tracks
from assembler.cli.sessions.verdicts import LISTENING, last_line, verdict_line
from assembler.cli.terminal.consoles import PlainConsole
from assembler.printable import printable
from assembler.report import TextLine, group_lines, with_reason
from assembler.timecode import format_place, format_sample, frame_rate
from assembler.verdict.states import shares_of, shares_words, worst_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from assembler.aligner import Edit, Uncured
    from assembler.consolidator import SessionResult, VerifyResult
    from assembler.sheet import Sheet
    from assembler.verdict.notes import Note

MOST_LINES: Final = 20
"""Flaws, places and notes of one list on the terminal; all of them with --verbose, and in the record."""

SEE_TOP: Final = "see the top"
"""Where what asks for a person stands."""


def print_check(result: SessionResult, loud: Loudness, *, tables: bool = False) -> None:
    """Print what a check found; with ``tables`` what a person may paste into the sheet to close what is open."""
    console = PlainConsole()
    _print_head(console, result, loud)
    if loud > Loudness.QUIET:
        _print_session(console, result, loud)
    found = accepted_tables(result.sheet, result.edit)
    if found and not tables and loud > Loudness.QUIET:
        _line(console, "What may stand, once you have listened, is closed in the sheet: --tables prints how.")
    elif found and tables:
        _line(console, "For the sheet, where you have listened and it may stand; say why, and who you are:")
    for line in "\n".join(found).splitlines() if tables else ():
        console.print(line, soft_wrap=True)
    if console.is_terminal and loud > Loudness.QUIET:
        console.print()
    # Behind tables it is a comment: what is copied down to the end stays TOML.
    _line(console, "# " * bool(tables and found) + last_line(result.edit, SEE_TOP))


def print_set(result: SessionResult, loud: Loudness) -> None:
    """Print what was built."""
    console = PlainConsole()
    _print_head(console, result, loud)
    if loud > Loudness.QUIET:
        _print_session(console, result, loud)
    _path(console, "Set", f"{result.target}")
    if loud > Loudness.QUIET:
        _path(console, "Page", f"{result.target}/data/report.html")
        _path(console, "Tracks", f"{result.target}/data/tracks")
    if console.is_terminal and loud > Loudness.QUIET:
        console.print()
    _line(console, last_line(result.edit, SEE_TOP))


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
        _path(console, "In order", f"{folder}: {size}{proved}")
    else:
        count = len(result.problems)
        _path(console, "Not in order", f"{folder}: {count} problem{'s' * (count != 1)}; {size}")


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
    return [f"{line.kind.replace('_', ' ')}: {line.text}" for line in lines]


def _print_head(console: PlainConsole, result: SessionResult, loud: Loudness) -> None:
    """Print the verdict, cautions, and all that a person must look at."""
    edit, sheet = result.edit, result.sheet
    rate = frame_rate(sheet.session.frame_rate)
    seconds = edit.length / sheet.session.sample_rate
    start = format_sample(edit.start_sample, rate, sheet.session.sample_rate)
    _line(console, verdict_line(edit))
    count = f"{len(edit.tracks)} {'track' if len(edit.tracks) == 1 else 'tracks'}"
    _line(console, f"{sheet.session.title}: {count} of {seconds:.3f} s from {start}")
    cautions = [note.text for note in edit.notes if note.kind == "caution"]
    _print_list(console, "Cautions", cautions, Loudness.VERBOSE)
    asking = note_lines(note for note in edit.notes if note.needs_a_person)
    _print_list(console, "Questions for a person", asking, loud)
    uncured = [place for place in edit.uncured if place.accepted is None]
    _print_list(console, "Uncured, to be listened to", _uncured_lines(uncured, edit, sheet), loud)
    if uncured or asking:
        _line(console, LISTENING)


def _print_session(console: PlainConsole, result: SessionResult, loud: Loudness) -> None:
    """Print passes, what is saved, flaws, tracks, and what was put right."""
    edit, sheet = result.edit, result.sheet
    whole = loud is Loudness.VERBOSE
    _heading(console, "Passes")
    print_passes(console, result, whole=whole)
    for name, states in edit.states.items():
        _line(console, f"Reel {name}: {shares_words(shares_of(worst_of(states)))}")
    flaws = flaw_lines(result)
    if flaws:
        shown = flaws if whole else flaws[:MOST_LINES]
        _heading(console, "Flaws, in the order of time")
        print_flaws(console, result, shown, whole=whole)
        _print_rest(console, len(flaws) - len(shown))
    if result.target is not None:
        _heading(console, "Tracks")
        print_tracks(console, edit, whole=whole)
    woven = [_woven_line(track.track.name, track.woven, sheet) for track in edit.tracks if track.woven]
    _print_list(console, "Woven sample by sample", woven, loud)
    closed = [place for place in edit.uncured if place.accepted]
    _print_list(console, "Accepted", _uncured_lines(closed, edit, sheet), loud)
    others = [note for note in edit.notes if not note.needs_a_person and note.kind != "caution"]
    _print_list(console, "Notes", note_lines(others), loud)


def _woven_line(track: str, stretches: Sequence[tuple[int, int]], sheet: Sheet) -> str:
    seconds = sum(high - low for low, high in stretches) / sheet.session.sample_rate
    return f"{track}: {_counted(len(stretches), 'stretch', 'es')}, {seconds:.3f} s, each sample from a pass that has it"


def _uncured_lines(places: Iterable[Uncured], edit: Edit, sheet: Sheet) -> list[str]:
    """Return a line for each place in the order of time; tracks of one event share one where all else is the same."""
    rate, sample_rate = frame_rate(sheet.session.frame_rate), sheet.session.sample_rate
    events: dict[tuple[int, int, str, str], list[str]] = {}
    for place in places:
        words = f"{place.kind}, {_counted(place.end - place.start, 'sample')}"
        words += f" ({held_words(place.held)})" if place.held else ""
        words += f"; accepted by {place.accepted.by}" if place.accepted else _void_words(place, edit)
        events.setdefault((place.start, place.end, place.reel, words), []).append(place.track.name)
    lines = []
    for (start, end, reel, words), names in sorted(events.items()):
        low, high = (format_place(edit.start_sample + at, rate, sample_rate) for at in (start, end))
        lines.append(f"{low} to {high}, reel {reel}, {', '.join(names)}: {words}")
    return lines


def _void_words(place: Uncured, edit: Edit) -> str:
    """Return whose acceptance of an open place a later pass has made void; nothing where there is none."""
    track = place.track.tape_tracks[place.reel]
    start, end = (edit.start_sample + at for at in (place.start, place.end))
    void = [
        one
        for one in edit.accepted
        if one.reel == place.reel and track in one.news and one.covers(start, end)
    ]
    return "".join(
        f"; accepted by {one.by}, and void for {' and '.join(one.news[track])}, see the notes" for one in void
    )


def _counted(count: int, what: str, more: str = "s") -> str:
    return f"{count} {what}{more * (count != 1)}"


def _print_list(console: PlainConsole, title: str, lines: Sequence[str], loud: Loudness) -> None:
    if not lines:
        return
    shown = lines if loud is Loudness.VERBOSE else lines[:MOST_LINES]
    _heading(console, title)
    for line in shown:
        _line(console, line, indent=2)
    _print_rest(console, len(lines) - len(shown))


def _print_rest(console: PlainConsole, count: int) -> None:
    if count:
        _line(console, f"and {count} more; --verbose lists all, --json too", indent=2)


def _line(console: PlainConsole, text: str, *, indent: int = 0) -> None:
    """Print a line; on a terminal it goes on below itself, word by word. A pipe has it whole."""
    if console.is_terminal:
        words = Text(printable(text))
        console.print(Padding(words, (0, 0, 0, indent)) if indent else words)
    else:
        console.print(f"{' ' * indent}{text}", soft_wrap=True)


def _heading(console: PlainConsole, title: str) -> None:
    """Print what the next lines are; on a terminal with room above it."""
    if console.is_terminal:
        console.print()
    console.print(f"{title}:", style="bold")


def _path(console: PlainConsole, name: str, path: str) -> None:
    """Print a path in one piece, to be copied."""
    console.print(f"{name}: {path}", soft_wrap=True)
