"""``assembler retakes``: the list for the machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.cli.answer import DONE, NEEDS_A_PERSON, Answer, json_answer
from assembler.cli.progress import shown_progress
from assembler.cli.terminal import say, say_wrapped

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assembler.known import Known
    from assembler.publishing.publication import Publication
    from assembler.sheet import Sheet


def run_retakes(
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
    """Find what must be played again, write the page where it is wanted, and return what is to be printed."""
    from assembler.consolidator import check_sheet
    from assembler.retakes import find_retakes, retakes_json, retakes_lines, retakes_page

    with shown_progress() as progress:
        sheet = _sheet_of(session, progress, allow_outside=allow_outside, known=known)
        result = check_sheet(sheet, progress=progress, known=known)
    retakes = find_retakes(result.sheet, result.edit, pre_roll_seconds=pre_roll, once=once)
    if page is not None:
        from assembler.publishing.text import publish_text

        publication.is_sound = retakes.is_done
        publish_text(page, retakes_page(retakes), publication)
    status = DONE if retakes.is_done else NEEDS_A_PERSON
    if as_json:
        return json_answer(retakes_json(retakes), status)
    told = [] if page is None else [f"Page written: {page}"]
    lines = retakes_lines(retakes)

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
