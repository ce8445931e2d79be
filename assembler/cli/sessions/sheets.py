"""``assembler draft`` and ``assembler plan``: text for a person to change."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from assembler.cli.answer import Answer, json_answer, lines_answer, text_answer
from assembler.cli.options.examples import example
from assembler.cli.options.loudness import quiet_option
from assembler.cli.options.memory import remembering
from assembler.cli.options.shared import PATH, json_option, outside_option
from assembler.cli.sessions.verdicts import last_line, status_of, with_reason
from assembler.cli.terminal.progress import shown_progress
from assembler.cli.terminal.words import command_line
from assembler.errors import SheetError

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.known import Known
    from assembler.publishing.publication import Publication


@click.command(short_help="Write a first sheet for a folder of captures.", epilog=example("draft"))
@click.argument("folder", type=PATH)
@click.option("-o", "--output", type=PATH, metavar="SHEET", help="Write the sheet here; must not exist.")
@click.option("--into", type=PATH, metavar="SHEET", help="Add captures that this sheet does not name yet.")
@quiet_option
@json_option
@remembering
@click.pass_obj
def draft(
    publication: Publication,
    folder: Path,
    output: Path | None,
    into: Path | None,
    *,
    as_json: bool,
    known: Known,
) -> Answer:
    """Look through FOLDER for captures and write a first session sheet to correct by hand.

    Without -o the sheet is printed. Its paths are relative to FOLDER: keep the sheet there. With --into a sheet that
    stands gets new passes after those it has; nothing else in it is changed, and the old one is kept beside it.
    """
    if into is not None:
        if output is not None:
            raise click.UsageError("--into and -o are two ways; allowed: one of them")
        return _grow(folder, into, as_json=as_json, known=known)
    from assembler.drafting import draft_sheet, place_within

    root = folder if output is None else output.parent
    with shown_progress() as progress:
        text = draft_sheet(folder, progress, known, sheet_folder=root)
    if output is not None:
        _publish(publication, output, text, is_sound=True)
    if as_json:
        return json_answer({"sheet": None if output is None else str(output), "text": text})
    if output is None:
        return text_answer(text)
    lines = [f"Sheet written: {output}"]
    if place_within(folder, root) is None:
        lines.append(f"Its paths begin at {folder}, which it does not lie in or above: put it there")
    return lines_answer(*lines, f"Correct it by hand, then: {command_line('check', output)}")


def _grow(folder: Path, sheet: Path, *, as_json: bool, known: Known) -> Answer:
    """Add captures to a sheet, keep the old one beside it, and return what was done."""
    from assembler.drafting import grow_sheet
    from assembler.publishing.text import replace_text

    if sheet.is_symlink():
        # A new file in its place would end the link and leave the sheet behind it as it was.
        raise SheetError("is a link; allowed: the sheet itself", file=sheet)
    with shown_progress() as progress:
        grown = grow_sheet(sheet, folder, progress, known)
    backup = None
    if grown.text != grown.before:
        backup = replace_text(sheet, grown.before, grown.text.decode("utf-8"))
    if as_json:
        kept = None if backup is None else str(backup)
        return json_answer({"sheet": str(sheet), "backup": kept, "told": list(grown.told)})
    if backup is None:
        return lines_answer(*grown.told, f"Nothing was written: {sheet} stands as it was")
    return lines_answer(*grown.told, f"Sheet written: {sheet}", f"As it was before: {backup}")


@click.command(short_help="Write down which pass each stretch is taken from.", epilog=example("plan"))
@click.argument("sheet", type=PATH)
@click.option("-o", "--output", type=PATH, metavar="PLAN", help="Write the plan here; must not exist.")
@quiet_option
@json_option
@outside_option
@remembering
@click.pass_obj
def plan(
    publication: Publication,
    sheet: Path,
    output: Path | None,
    *,
    as_json: bool,
    allow_outside: bool,
    known: Known,
) -> Answer:
    """Align what SHEET names and write the plan of every track, to change by hand and build with.

    Without -o the plan is printed.
    """
    from assembler.aligner import write_plan
    from assembler.consolidator import check_session

    with shown_progress() as progress:
        result = check_session(sheet, allow_outside=allow_outside, progress=progress, known=known)
    text = write_plan(result.sheet, result.edit)
    status = status_of(result.edit)
    if output is not None:
        _publish(publication, output, text, is_sound=result.edit.is_sound)
    if as_json:
        written = None if output is None else str(output)
        return with_reason(json_answer({"plan": written, "text": text}, status), result.edit)
    if output is None:
        return with_reason(text_answer(text, status), result.edit)
    line = command_line("build", sheet, "--plan", output, "-o", sheet.parent / "set")
    return lines_answer(
        f"Plan written: {output}",
        f"Change it by hand, then: {line}",
        last_line(result.edit, f"listed by {command_line('check', sheet)}"),
        status=status,
    )


def _publish(publication: Publication, target: Path, text: str, *, is_sound: bool) -> None:
    from assembler.publishing.text import publish_text

    publication.is_sound = is_sound
    publish_text(target, text, publication)
