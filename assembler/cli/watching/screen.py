"""The screen of a watch: what is recorded, what is wrong, what to play. No row is wider than the screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from rich.table import Table
from rich.text import Text

from assembler.cli.terminal.consoles import Group
from assembler.printable import printable
from assembler.retakes import track_numbers
from assembler.verdict.states import State, shares_words
from assembler.watch import event_line

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.watch import Board, PassLine

MOST_PASSES, MOST_REELS = 4, 3
"""Passes and tapes that have a row: the newest, and the first."""

PLAY_AGAIN: Final = "Play again, if the tape can stand another play"

WIDEST: Final = 20
"""Letters of a name or a state that are shown."""

HEADS: Final = 4
"""Rows of headings and between them."""


def screen_of(board: Board, height: int = 24) -> Group:
    """Return what a terminal shows of what is known.

    Args:
        board: all that is known.
        height: rows of the terminal.
    """
    passes = list(board.passes.values())[-MOST_PASSES:]
    ends = _ends(board)
    heads = (1 + len(passes) if passes else 1) + bool(board.rolls)
    left = height - HEADS - heads - len(ends)
    wrong = [_row(event_line(event)) for event in reversed(board.recent)]
    most = min(len(board.rolls), max(left // 2, left - len(wrong)))
    wrong = wrong[: left - most]
    parts: list[Text | Table] = [_passes(passes) if passes else Text("Waiting for captures"), Text("")]
    parts += [
        Text("Wrong, newest first" if wrong else "Nothing wrong so far", style="bold"),
        *wrong,
        Text(""),
    ]
    parts.append(Text(PLAY_AGAIN if board.rolls else "Nothing to play again so far", style="bold"))
    if board.rolls:
        parts.append(_rolls(board.rolls, most))
    return Group(*parts, *ends)


def _passes(passes: Sequence[PassLine]) -> Table:
    rows = []
    for line in passes:
        level = "silent" if line.level is None else f"{line.level:.1f} dB"
        rows.append((line.name, line.state, line.length, line.timecode or "none", level, _wrong(line)))
    return _table(("Pass", "State", "Length", "Timecode", "Peak", "Wrong"), rows)


def _rolls(rolls: Sequence[Mapping[str, Any]], most: int) -> Table:
    shown = rolls if len(rolls) <= most else rolls[: max(1, most - 1)]
    rows = [
        (one["reel"], one["roll_to"], one["from"], one["to"], track_numbers(one["tracks"]), one["why"])
        for one in shown
    ]
    if len(shown) < len(rolls):
        rows.append(("", f"and {len(rolls) - len(shown)} more", "", "", "", ""))
    return _table(("Reel", "Roll to", "Play from", "to", "Tracks", "Why"), rows)


def _ends(board: Board) -> list[Text]:
    """Return whether each tape may come off, where to listen, and a word on the list."""
    rows: list[Text] = []
    for reel in board.reels[:MOST_REELS]:
        shares = {State(name): share for name, share in reel["states"].items()}
        rows += [_row(f"Reel {reel['name']}: {reel['words']}", 0), _row(shares_words(shares))]
    if board.suspects:
        first = board.suspects[0]
        tracks = track_numbers(first["tracks"])
        rows.append(
            _row(f"Listen at {len(board.suspects)} more, first at {first['timecode']}, track {tracks}", 0)
        )
    if board.note:
        rows.append(_row(board.note, 0))
    return rows


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """Return a table whose last column alone gives way where the screen is narrow."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), expand=False)
    for head in heads[:-1]:
        table.add_column(head, no_wrap=True, overflow="ellipsis", max_width=WIDEST)
    table.add_column(heads[-1], no_wrap=False)
    for row in rows:
        table.add_row(*row[:-1], _row(row[-1], 0))
    return table


def _row(text: str, indent: int = 2) -> Text:
    return Text(f"{' ' * indent}{printable(text)}", no_wrap=True, overflow="ellipsis")


def _wrong(line: PassLine) -> str:
    flaws = "" if not line.flaws else f"{line.flaws} flaw{'s' * (line.flaws > 1)}"
    tracks = [f"{count} {kind}" for kind, count in line.tracks.items()]
    return ", ".join(part for part in (flaws, line.clock, *tracks) if part) or "nothing"
