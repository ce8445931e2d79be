"""``assembler collection``: what has become of many sessions, as tables, CSV and a page."""

from __future__ import annotations

import os
from itertools import groupby
from typing import TYPE_CHECKING

from rich.table import Table

from assembler.cli.answer import DONE, NEEDS_A_PERSON, Answer, json_answer
from assembler.cli.consoles import PlainConsole
from assembler.collection import (
    SessionState,
    collection_csv,
    collection_json,
    groups_of,
    read_collection,
    session_state_words,
    sums_lines,
)
from assembler.errors import PublishError
from assembler.verdict.states import share_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assembler.collection import Group, Row
    from assembler.publishing.publication import Publication

MOST_ROWS = 20
"""Sessions, and groups of one note, that are reported on the terminal; CSV, page and JSON have more."""


def run_collection(
    publication: Publication, root: Path, csv_file: Path | None, page: Path | None, *, as_json: bool
) -> Answer:
    """Read the ledger, write CSV and page where they are wanted, and return what is to be printed."""
    rows = read_collection(root).rows
    is_sound = all(row.state is SessionState.SAVED and not row.rolls for row in rows)
    written = []
    for path in (csv_file, page):
        if path is not None and os.path.lexists(path):  # before either is written
            raise PublishError(f"{path} exists already; choose another name")
    from assembler.publishing.text import publish_text

    for path, what in ((csv_file, "CSV"), (page, "Page")):
        if path is not None:
            publication.is_sound = is_sound
            publish_text(path, _text(what, root, rows), publication)
            written.append(f"{what} written: {path}")
    status = DONE if is_sound else NEEDS_A_PERSON
    if as_json:
        return json_answer(collection_json(rows), status)
    return Answer(status, lambda: _print(rows, written))


def _text(what: str, root: Path, rows: Sequence[Row]) -> str:
    if what == "CSV":
        return collection_csv(rows)
    from assembler.collection.page import collection_page

    return collection_page(root.absolute().name, rows)


def _print(rows: Sequence[Row], written: Sequence[str]) -> None:
    console = PlainConsole()
    for line in sums_lines(rows):
        console.print(line, soft_wrap=True)
    order = list(SessionState)
    open_ones = [row for row in rows if row.state is not SessionState.SAVED or row.rolls]
    open_ones.sort(key=lambda row: (-order.index(row.state), -row.places, row.session))
    if open_ones:
        console.print(_sessions_table(open_ones[:MOST_ROWS]))
        _print_rest(console, len(open_ones), "--csv has all")
    for key, own in groupby(groups_of(rows), key=lambda group: group.key):
        groups = list(own)
        console.print(_groups_table(key, groups[:MOST_ROWS]))
        _print_rest(console, len(groups), "--page has more")
    for line in written:
        console.print(line, soft_wrap=True)


def _sessions_table(rows: Sequence[Row]) -> Table:
    table = _table(
        ("Session", "State", "Places", "Rolls", "Min. to play", "What"), ("Session", "State", "What")
    )
    for row in rows:
        table.add_row(
            row.session,
            session_state_words(row.state),
            str(row.places),
            str(row.rolls),
            f"{row.roll_seconds / 60:.1f}",
            row.damage or row.words,
        )
    return table


def _groups_table(key: str, groups: Sequence[Group]) -> Table:
    title = f"By {key.replace('_', ' ')}"
    table = _table((title, "Tapes", "Failed", "Ask", "Hours", "Right in no pass", "Rolls"), (title,))
    for group in groups:
        table.add_row(
            group.value,
            str(group.tapes),
            str(group.failed),
            str(group.asking),
            f"{group.seconds / 3600:.2f}",
            share_words(group.lost_share),
            str(group.rolls),
        )
    return table


def _table(names: Sequence[str], texts: Sequence[str]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in names:
        table.add_column(name, justify="left" if name in texts else "right")
    return table


def _print_rest(console: PlainConsole, count: int, where: str) -> None:
    if count > MOST_ROWS:
        console.print(f"  and {count - MOST_ROWS} more; {where}")
