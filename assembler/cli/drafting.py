"""``assembler draft`` and ``assembler plan``: text for a person to change."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.cli.answer import DONE, NEEDS_A_PERSON, Answer, json_answer, lines_answer, text_answer
from assembler.importer.looking import draft_sheet

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.known import Known
    from assembler.publication import Publication


def run_draft(publication: Publication, folder: Path, output: Path | None, *, as_json: bool) -> Answer:
    """Draft a sheet, write it where it is wanted, and return what is to be printed."""
    text = draft_sheet(folder)
    if output is not None:
        _publish(publication, output, text, is_sound=True)
    if as_json:
        return json_answer({"sheet": None if output is None else str(output), "text": text})
    if output is None:
        return text_answer(text)
    return lines_answer(f"Sheet written: {output}", f"Correct it by hand, then: assembler check {output}")


def run_plan(
    publication: Publication,
    sheet: Path,
    output: Path | None,
    *,
    as_json: bool,
    allow_outside: bool,
    known: Known,
) -> Answer:
    """Plan a session, write the plan where it is wanted, and return what is to be printed."""
    from assembler.aligner import write_plan
    from assembler.cli.progress import shown_progress
    from assembler.consolidator import check_session

    with shown_progress() as progress:
        result = check_session(sheet, allow_outside=allow_outside, progress=progress, known=known)
    text = write_plan(result.sheet, result.edit)
    status = DONE if result.edit.is_sound else NEEDS_A_PERSON
    if output is not None:
        _publish(publication, output, text, is_sound=result.edit.is_sound)
    if as_json:
        return json_answer({"plan": None if output is None else str(output), "text": text}, status)
    if output is None:
        return text_answer(text, status)
    return lines_answer(
        f"Plan written: {output}",
        f"Change it by hand, then: assembler build {sheet} --plan {output} -o SET",
        status=status,
    )


def _publish(publication: Publication, target: Path, text: str, *, is_sound: bool) -> None:
    from assembler.consolidator.publishing import publish_text

    publication.is_sound = is_sound
    publish_text(target, text, publication)
