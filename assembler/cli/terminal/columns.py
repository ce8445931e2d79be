"""Which columns of a table a terminal has room for: those of least use go first, those of places and names never."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from rich.cells import cell_len
from rich.table import Table
from rich.text import Text

from assembler.printable import printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.cli.terminal.consoles import PlainConsole

_GAP: Final = 2
_LEAST_FOLDED: Final = 12
"""A column of words that may go on below itself is given so much at least, or it goes."""


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Args:
        name: its head.
        cells: a text for each row.
        use: columns of the lowest use go first where there is no room; None for one that never goes.
        is_number: whether it is set to the right.
        is_folded: whether its words may go on below themselves.
    """

    name: str
    cells: Sequence[str]
    use: int | None = None
    is_number: bool = False
    is_folded: bool = False

    @property
    def width(self) -> int:
        """Cells of the widest text."""
        return max(cell_len(printable(text)) for text in (self.name, *self.cells))


def fitting(columns: Sequence[Column], width: int) -> list[Column]:
    """Return the columns that a width has room for, in their order.

    Args:
        columns: of a table.
        width: cells of a line.
    """
    kept = list(columns)
    while _needed(kept) > width:
        going = [column for column in kept if column.use is not None]
        if not going:
            break
        kept.remove(min(going, key=lambda column: column.use or 0))
    return kept


def print_table(console: PlainConsole, columns: Sequence[Column], *, whole: bool = False) -> None:
    """Print a table: in a pipe and where ``whole`` is asked for with all its columns, else with those that fit.

    A pipe has no width, so that there nothing is folded.
    """
    if console.is_terminal:
        kept = list(columns) if whole else fitting(columns, console.width)
    else:
        kept = list(columns)
        console.width = max(console.width, _whole_width(kept))
    table = Table(box=None, pad_edge=False, header_style="bold")
    for column in kept:
        table.add_column(
            column.name,
            justify="right" if column.is_number else "left",
            no_wrap=not (column.is_folded or (whole and column.use is not None)),
            overflow="fold",
            min_width=_LEAST_FOLDED if column.is_folded else None,
        )
    for row in zip(*(column.cells for column in kept), strict=True):
        table.add_row(*row)
    if console.is_terminal:
        console.print(table)
        return
    with console.capture() as held:
        console.print(table)
    # Cells are filled up to the width of their column; behind the last one nobody wants blanks in a file.
    for line in held.get().splitlines():
        console.print(Text(line.rstrip()), soft_wrap=True)


def _needed(columns: Sequence[Column]) -> int:
    widths = (min(one.width, _LEAST_FOLDED) if one.is_folded else one.width for one in columns)
    return sum(widths) + _GAP * (len(columns) - 1)


def _whole_width(columns: Sequence[Column]) -> int:
    return sum(one.width for one in columns) + _GAP * len(columns)
