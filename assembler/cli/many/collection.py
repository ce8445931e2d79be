"""``assembler collection``: what has become of many sessions, as tables, CSV and a page."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from assembler.cli.answer import DONE, NEEDS_A_PERSON, Answer, json_answer
from assembler.cli.options.examples import example
from assembler.cli.options.shared import PATH, json_option
from assembler.errors import PublishError

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.publishing.publication import Publication


@click.command(short_help="Show what has become of many sessions.", epilog=example("collection"))
@click.argument("root", type=PATH)
@click.option("--csv", "csv_file", type=PATH, metavar="FILE", help="Write a row a session; must not exist.")
@click.option("--page", type=PATH, metavar="FILE", help="Write it as a page, too; must not exist.")
@json_option
@click.pass_obj
def collection(
    publication: Publication, root: Path, csv_file: Path | None, page: Path | None, *, as_json: bool
) -> Answer:
    """Show what the ledger of ROOT tells: what is saved, what needs a person or another play, what failures share.

    Exit status 1: something needs a person, is damaged, has failed, or is to be played again.
    """
    if csv_file is not None and csv_file == page:
        raise click.UsageError("--csv and --page name one file; allowed: two")
    from assembler.cli.many.printing import print_collection
    from assembler.collection import SessionState, collection_csv, collection_json, read_collection
    from assembler.publishing.text import publish_text

    rows = read_collection(root).rows
    publication.is_sound = all(row.state is SessionState.SAVED and not row.rolls for row in rows)
    for path in (csv_file, page):
        if path is not None and os.path.lexists(path):  # before either is written
            raise PublishError(f"{path} exists already; choose another name")
    wanted = []
    if csv_file is not None:
        wanted.append(("CSV", csv_file, collection_csv(rows)))
    if page is not None:
        from assembler.collection.page import collection_page

        wanted.append(("Page", page, collection_page(root.absolute().name, rows)))
    for _, path, text in wanted:
        publish_text(path, text, publication)
    written = [f"{what} written: {path}" for what, path, _ in wanted]
    status = DONE if publication.is_sound else NEEDS_A_PERSON
    if as_json:
        return json_answer(collection_json(rows), status)
    return Answer(status, lambda: print_collection(rows, written))
