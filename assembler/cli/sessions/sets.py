"""``assembler check``, ``build``, ``verify`` and ``demo``: a session looked at, a set made, a set proved."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from assembler.cli.answer import DONE, NEEDS_A_PERSON, Answer, json_answer, lines_answer
from assembler.cli.options.examples import example
from assembler.cli.options.loudness import loudness, quiet_option, verbose_option
from assembler.cli.options.memory import remembering
from assembler.cli.options.shared import PATH, jobs_option, json_option, outside_option
from assembler.cli.sessions.verdicts import status_of, with_reason
from assembler.cli.terminal.progress import shown_progress
from assembler.cli.terminal.words import command_line, say

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assembler.known import Known
    from assembler.publishing.publication import Publication
    from assembler.verdict.notes import Note

MOST_FORETOLD = 3
"""Notes told before a set is written; all of them are listed after it."""


@click.command(short_help="Report what a session holds; make no set.", epilog=example("check"))
@click.argument("sheet", type=PATH)
@click.option(
    "--tables", is_flag=True, help="Print ready-made [[accepted]] tables for what asks for a person."
)
@quiet_option
@verbose_option
@json_option
@jobs_option
@outside_option
@remembering
def check(
    sheet: Path, *, tables: bool, as_json: bool, jobs: int | None, allow_outside: bool, known: Known
) -> Answer:
    """Import and align everything that SHEET names and report what is found.

    Writes nothing but what it remembers in your cache folder (not even that with --no-cache).
    """
    if tables and as_json:
        raise click.UsageError("--tables prints words, --json none; allowed: one of them")
    from assembler.cli.sessions.printing import print_check
    from assembler.consolidator import check_session

    with shown_progress() as progress:
        result = check_session(sheet, allow_outside=allow_outside, progress=progress, known=known, jobs=jobs)
    status, loud = status_of(result.edit), loudness()
    if as_json:
        return with_reason(json_answer(result.record, status), result.edit)
    return Answer(status, lambda: print_check(result, loud, tables=tables))


@click.command(short_help="Build a set.", epilog=example("build"))
@click.argument("sheet", type=PATH)
@click.option(
    "-o", "--output", type=PATH, metavar="SET", required=True, help="The set's folder; must not exist."
)
@click.option("--plan", type=PATH, metavar="PLAN", help="Take the stretches from this plan.")
@quiet_option
@verbose_option
@json_option
@jobs_option
@outside_option
@remembering
@click.pass_obj
def build(
    publication: Publication,
    sheet: Path,
    output: Path,
    plan: Path | None,
    *,
    as_json: bool,
    jobs: int | None,
    allow_outside: bool,
    known: Known,
) -> Answer:
    """Build the set that SHEET describes: aligned, repaired, equal-length tracks with their record."""
    from assembler.cli.sessions.printing import print_set
    from assembler.consolidator import build_set

    with shown_progress() as progress:
        result = build_set(
            sheet,
            output,
            plan=plan,
            allow_outside=allow_outside,
            progress=progress,
            foretell=_foretell,
            publication=publication,
            known=known,
            tell=lambda line: say(f"assembler: {line}", err=True),
            jobs=jobs,
        )
    status, loud = status_of(result.edit), loudness()
    if as_json:
        return with_reason(json_answer({**result.record, "set": str(output)}, status), result.edit)
    return Answer(status, lambda: print_set(result, loud))


def _foretell(notes: Sequence[Note]) -> None:
    """Tell on standard error what needs a person while there is still time to stop."""
    for note in notes[:MOST_FORETOLD]:
        say(f"Needs a person: {note.text}", err=True)
    if len(notes) > MOST_FORETOLD:
        say(f"Needs a person: {len(notes) - MOST_FORETOLD} more, reported when the set is built", err=True)


@click.command(short_help="Check a set.", epilog=example("verify"))
@click.argument("folder", metavar="SET", type=PATH)
@click.option("--against", type=PATH, metavar="SHEET", help="Compute every sample again from the captures.")
@quiet_option
@json_option
@outside_option
def verify(folder: Path, against: Path | None, *, as_json: bool, allow_outside: bool) -> Answer:
    """Check that SET is whole and unchanged and says what its record says."""
    from assembler.cli.sessions.printing import print_verified
    from assembler.consolidator import verify_set

    with shown_progress() as progress:
        result = verify_set(folder, against=against, allow_outside=allow_outside, progress=progress)
    status = DONE if result.is_sound else NEEDS_A_PERSON
    if not as_json:
        return Answer(status, lambda: print_verified(folder, result))
    return json_answer(
        {
            "set": str(folder),
            "in_order": result.is_sound,
            "sound": result.is_sound,  # the name that it had first: kept for who reads it
            "files": result.files,
            "bytes": result.bytes,
            "tracks": result.tracks,
            "proved_samples": result.proved_samples,
            "problems": [{"path": problem.path, "text": problem.text} for problem in result.problems],
        },
        status,
    )


@click.command(short_help="Write an invented session to try.", epilog=example("demo"))
@click.argument("folder", type=PATH)
@quiet_option
@json_option
@click.pass_obj
def demo(publication: Publication, folder: Path, *, as_json: bool) -> Answer:
    """Write a small invented session into FOLDER, flawed on purpose and ready to build."""
    from assembler.demo import write_demo

    with shown_progress() as progress:
        summary = write_demo(folder, progress=progress, publication=publication)
    if as_json:
        return json_answer(
            {"sheet": str(summary.sheet), "captures": len(summary.captures), "bytes": summary.bytes}
        )
    return lines_answer(
        f"Demo session written: {summary.sheet}",
        f"{len(summary.captures)} passes, {summary.bytes / 1e6:.1f} MB",
        f"Next: {command_line('build', summary.sheet, '-o', summary.sheet.parent / 'set')}",
    )
