"""What has become of many sessions, as a terminal shows it: sums, open sessions, groups."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from assembler.cli.terminal.columns import Column, print_table
from assembler.cli.terminal.consoles import PlainConsole
from assembler.collection import SessionState, groups_of, session_state_words, sums_lines
from assembler.verdict.states import share_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.collection import Group, Row

MOST_ROWS = 20
"""Sessions, and groups of one note, that are reported on the terminal; CSV, page and JSON have more."""


def print_collection(rows: Sequence[Row], written: Sequence[str]) -> None:
    """Print rows of a ledger, and what was written of them."""
    console = PlainConsole()
    for line in sums_lines(rows):
        console.print(line, soft_wrap=True)
    order = list(SessionState)
    open_ones = [row for row in rows if row.state is not SessionState.SAVED or row.rolls]
    open_ones.sort(key=lambda row: (-order.index(row.state), -row.places, row.session))
    if open_ones:
        _print_sessions(console, open_ones[:MOST_ROWS])
        _print_rest(console, len(open_ones), "--csv has all")
    for key, own in groupby(groups_of(rows), key=lambda group: group.key):
        groups = list(own)
        _print_groups(console, key, groups[:MOST_ROWS])
        _print_rest(console, len(groups), "--page has more")
    for line in written:
        console.print(line, soft_wrap=True)


def _print_sessions(console: PlainConsole, rows: Sequence[Row]) -> None:
    columns = [
        Column("Session", [row.session for row in rows]),
        Column("State", [session_state_words(row.state) for row in rows]),
        Column("Places", [str(row.places) for row in rows], 3, is_number=True),
        Column("Rolls", [str(row.rolls) for row in rows], 2, is_number=True),
        Column("Min. to play", [f"{row.roll_seconds / 60:.1f}" for row in rows], 1, is_number=True),
        Column("What", [row.damage or row.words for row in rows], is_folded=True),
    ]
    print_table(console, columns)


def _print_groups(console: PlainConsole, key: str, groups: Sequence[Group]) -> None:
    columns = [
        Column(f"By {key.replace('_', ' ')}", [group.value for group in groups], is_folded=True),
        Column("Tapes", [str(group.tapes) for group in groups], is_number=True),
        Column("Failed", [str(group.failed) for group in groups], 4, is_number=True),
        Column("Ask", [str(group.asking) for group in groups], 3, is_number=True),
        Column("Hours", [f"{group.seconds / 3600:.2f}" for group in groups], 1, is_number=True),
        Column("Right in no pass", [share_words(group.lost_share) for group in groups], 5, is_number=True),
        Column("Rolls", [str(group.rolls) for group in groups], 2, is_number=True),
    ]
    print_table(console, columns)


def _print_rest(console: PlainConsole, count: int, where: str) -> None:
    if count > MOST_ROWS:
        console.print(f"  and {count - MOST_ROWS} more; {where}")
