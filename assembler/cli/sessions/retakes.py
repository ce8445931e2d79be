"""``assembler retakes``: the list for the machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from assembler.cli.answer import DONE, NEEDS_A_PERSON, Answer, json_answer
from assembler.cli.options.examples import example
from assembler.cli.options.loudness import quiet_option
from assembler.cli.options.memory import remembering
from assembler.cli.options.shared import PATH, json_option, outside_option
from assembler.cli.options.values import Seconds
from assembler.cli.terminal.progress import shown_progress
from assembler.cli.terminal.words import say, say_wrapped

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assembler.known import Known
    from assembler.publishing.publication import Publication
    from assembler.sheet import Sheet


@click.command(short_help="Report what must be played again.", epilog=example("retakes"))
@click.argument("session", metavar="SHEET|FOLDER", type=PATH)
@click.option(
    "--pre-roll",
    type=Seconds(0, 600),
    default=5.0,
    show_default=True,
    metavar="SECONDS",
    help="How long before a place to roll.",
)
@click.option("--once", is_flag=True, help="Ask for what only one pass has, too.")
@click.option(
    "--page", type=PATH, metavar="FILE", help="Write it as a page to print here, too; must not exist."
)
@quiet_option
@json_option
@outside_option
@remembering
@click.pass_obj
def retakes(
    publication: Publication,
    session: Path,
    page: Path | None,
    *,
    pre_roll: float,
    once: bool,
    as_json: bool,
    allow_outside: bool,
    known: Known,
) -> Answer:
    """List for the machine what of SHEET must be played again, from where, and whether each tape may come off.

    For a FOLDER of captures a sheet is drafted in memory. Exit status 0: nothing is to be played.
    """
    from assembler.consolidator import check_sheet
    from assembler.retakes import find_retakes, retakes_json, retakes_lines, retakes_page

    with shown_progress() as progress:
        sheet = _sheet_of(session, progress, allow_outside=allow_outside, known=known)
        result = check_sheet(sheet, progress=progress, known=known)
    found = find_retakes(result.sheet, result.edit, pre_roll_seconds=pre_roll, once=once)
    if page is not None:
        from assembler.publishing.text import publish_text

        publication.is_sound = found.is_done
        publish_text(page, retakes_page(found), publication)
    status = DONE if found.is_done else NEEDS_A_PERSON
    if as_json:
        return json_answer(retakes_json(found), status)
    told = [] if page is None else [f"Page written: {page}"]
    lines = retakes_lines(found)

    def tell() -> None:
        say_wrapped(*lines)
        say(*told)

    return Answer(status, tell)


def _sheet_of(
    session: Path, progress: Callable[[str, float], None], *, allow_outside: bool, known: Known
) -> Sheet:
    """Return the sheet in a file, or one drafted in memory for a folder of captures."""
    from assembler.drafting import draft_sheet
    from assembler.sheet import load_sheet, parse_sheet

    if not session.is_dir():
        return load_sheet(session, allow_outside=allow_outside)
    text = draft_sheet(session, progress, known).encode("utf-8")
    return parse_sheet(text, path=None, folder=session, allow_outside=allow_outside)
