"""``assembler check``, ``build``, ``verify`` and ``demo``: call, print, return the status."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.cli.answer import DONE, NEEDS_A_PERSON, Answer, json_answer, lines_answer
from assembler.cli.loudness import loudness
from assembler.cli.printing import print_check, print_set, print_verified
from assembler.cli.progress import shown_progress
from assembler.cli.terminal import command_line, say
from assembler.cli.verdicts import last_line

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assembler.consolidator import SessionResult
    from assembler.known import Known
    from assembler.publishing.publication import Publication
    from assembler.verdict.notes import Note

MOST_FORETOLD = 3
"""Notes told before a set is written; all of them are listed after it."""


def run_check(
    sheet: Path, *, tables: bool, as_json: bool, allow_outside: bool, known: Known, jobs: int | None
) -> Answer:
    """Look, and return what is found."""
    from assembler.consolidator import check_session

    with shown_progress() as progress:
        result = check_session(sheet, allow_outside=allow_outside, progress=progress, known=known, jobs=jobs)
    if as_json:
        return with_reason(json_answer(result.record, _status(result)), result)
    loud = loudness()
    return Answer(_status(result), lambda: print_check(result, loud, tables=tables))


def run_build(
    publication: Publication,
    sheet: Path,
    output: Path,
    plan: Path | None,
    *,
    as_json: bool,
    allow_outside: bool,
    known: Known,
    jobs: int | None,
) -> Answer:
    """Build the set and return what came of it."""
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
    if as_json:
        return with_reason(json_answer({**result.record, "set": str(output)}, _status(result)), result)
    loud = loudness()
    return Answer(_status(result), lambda: print_set(result, loud))


def _foretell(notes: Sequence[Note]) -> None:
    """Tell on standard error what needs a person while there is still time to stop."""
    for note in notes[:MOST_FORETOLD]:
        say(f"Needs a person: {note.text}", err=True)
    if len(notes) > MOST_FORETOLD:
        say(f"Needs a person: {len(notes) - MOST_FORETOLD} more, reported when the set is built", err=True)


def run_verify(folder: Path, against: Path | None, *, as_json: bool, allow_outside: bool) -> Answer:
    """Verify the set and return what was found."""
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


def run_demo(publication: Publication, folder: Path, *, as_json: bool) -> Answer:
    """Write the demo session and return what was written."""
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


def with_reason(answer: Answer, result: SessionResult) -> Answer:
    """Return an answer that also says on standard error why its status is 1."""
    if answer.status == DONE:
        return answer

    def tell() -> None:
        answer.tell()
        say(last_line(result.edit), err=True)

    return Answer(answer.status, tell)


def _status(result: SessionResult) -> int:
    return DONE if result.edit.is_sound else NEEDS_A_PERSON
