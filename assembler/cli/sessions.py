"""``assembler check``, ``build``, ``verify`` and ``demo``: call, print, return the status."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.cli.progress import shown_progress
from assembler.cli.tables import print_check, print_set, print_verified
from assembler.cli.terminal import say, say_json

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assembler.consolidator import SessionResult
    from assembler.importer import Note

MOST_FORETOLD = 3
"""Notes told before a set is written; all of them are told after it."""


def run_check(sheet: Path, *, as_json: bool, allow_outside: bool) -> int:
    """Tell what is found; return the exit status."""
    from assembler.consolidator import check_session

    with shown_progress() as progress:
        result = check_session(sheet, allow_outside=allow_outside, progress=progress)
    if as_json:
        say_json(result.record)
    else:
        print_check(result)
    return _status(result)


def run_build(sheet: Path, output: Path, plan: Path | None, *, as_json: bool, allow_outside: bool) -> int:
    """Build the set and tell; return the exit status."""
    from assembler.consolidator import build_set
    from assembler.report import report_page

    with shown_progress() as progress:
        result = build_set(
            sheet,
            output,
            report_page,
            plan=plan,
            allow_outside=allow_outside,
            progress=progress,
            foretell=_foretell,
        )
    if as_json:
        say_json({**result.record, "set": str(output)})
    else:
        print_set(result)
    return _status(result)


def _foretell(notes: Sequence[Note]) -> None:
    """Tell on standard error what needs a person while there is still time to stop."""
    for note in notes[:MOST_FORETOLD]:
        say(f"Needs a person: {note.text}", err=True)
    if len(notes) > MOST_FORETOLD:
        say(f"Needs a person: {len(notes) - MOST_FORETOLD} more, told when the set is built", err=True)


def run_verify(folder: Path, against: Path | None, *, as_json: bool, allow_outside: bool) -> int:
    """Verify the set and tell; return the exit status."""
    from assembler.consolidator import verify_set

    with shown_progress() as progress:
        result = verify_set(folder, against=against, allow_outside=allow_outside, progress=progress)
    if as_json:
        say_json(
            {
                "set": str(folder),
                "sound": result.is_sound,
                "files": result.files,
                "bytes": result.bytes,
                "tracks": result.tracks,
                "proved_samples": result.proved_samples,
                "problems": [{"path": problem.path, "text": problem.text} for problem in result.problems],
            }
        )
    else:
        print_verified(folder, result)
    return 0 if result.is_sound else 1


def run_demo(folder: Path, *, as_json: bool) -> int:
    """Write the demo session and tell; return the exit status."""
    from assembler.demo import write_demo

    with shown_progress() as progress:
        summary = write_demo(folder, progress=progress)
    if as_json:
        say_json({"sheet": str(summary.sheet), "captures": len(summary.captures), "bytes": summary.bytes})
    else:
        say(f"Demo session written: {summary.sheet}")
        say(f"{len(summary.captures)} captures, {summary.bytes / 1e6:.1f} MB")
        say(f"Next: assembler build '{summary.sheet}' -o SET")
    return 0


def _status(result: SessionResult) -> int:
    return 0 if result.edit.is_sound else 1
