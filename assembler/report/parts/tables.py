"""What a table of the page is: columns, rows with what they are about, and how a long one is cut."""

from __future__ import annotations

from dataclasses import dataclass

MOST_ROWS = 2500
"""Rows of one table, so that the page stays below its size; past that it says how many more the record holds."""


@dataclass(frozen=True)
class Column:
    """A column.

    Args:
        label: its heading.
        sort: "from" and "to" by the row's place, "number", or "text".
    """

    label: str
    sort: str = "text"


@dataclass(frozen=True)
class Cell:
    """A cell that is more than its text.

    Args:
        text: what is read.
        tone: class of a swatch before the text; "" for none.
        is_open: whether it asks for a person.
        is_code: whether it is a digest.
    """

    text: str
    tone: str = ""
    is_open: bool = False
    is_code: bool = False


@dataclass(frozen=True)
class Row:
    """A row, and what it is about, for links, filters and views.

    Args:
        name: of the row, unique on the page; "" where nothing links to it.
        cells: one a column.
        start: first sample in the set; None where it is about no place.
        end: first one after it.
        tracks: numbers of the delivered tracks.
        passes: places of the passes in the record.
        kind: of the flaw or note; "" where rows of the table have none.
        view: what opens from it: "place", "flaw", "note", "join"; "" for nothing.
        is_open: whether it asks for a person.
    """

    name: str
    cells: tuple[Cell | str, ...]
    start: int | None = None
    end: int | None = None
    tracks: tuple[int, ...] = ()
    passes: tuple[int, ...] = ()
    kind: str = ""
    view: str = ""
    is_open: bool = False


@dataclass(frozen=True)
class Table:
    """A table of the page.

    Args:
        name: unique on the page.
        heading: above it.
        columns: at least one.
        rows: in the order of time, as far as they are places.
        words: a line before it.
        rest: the file of the set that holds the rows that are left out.
        is_open: whether it asks for a person.
    """

    name: str
    heading: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    words: str = ""
    rest: str = "assembly.json"
    is_open: bool = False

    @property
    def shown(self) -> tuple[Row, ...]:
        """The rows that the page has."""
        return self.rows[:MOST_ROWS]

    @property
    def numbers(self) -> tuple[bool, ...]:
        """Which columns hold numbers."""
        return tuple(column.sort == "number" for column in self.columns)

    @property
    def dimensions(self) -> str:
        """What its rows can be filtered by."""
        told = {"tracks": "tracks", "passes": "passes", "kind": "kind"}
        return " ".join(name for field, name in told.items() if any(getattr(row, field) for row in self.rows))


def plain(text: str) -> str:
    """Return a word of the record as it is read."""
    return text.replace("_", " ")
