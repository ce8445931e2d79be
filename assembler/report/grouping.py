"""Notes as a person reads them, in one order, on the terminal and on the page: what needs somebody comes first."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True)
class TextLine:
    """What one note says.

    Args:
        kind: of the note.
        pass_name: the pass it is about; None where it is about no single one.
        text: its words.
        theme: what notes of several passes may tell in one line together; "" where the note stands for itself.
        count: how many of what the theme tells of; None where it counts nothing.
        needs_a_person: whether somebody has to look.
        number: its place among the notes of the record; of a line for several, that of the first.
    """

    kind: str
    pass_name: str | None
    text: str
    theme: str = ""
    count: int | None = None
    needs_a_person: bool = False
    number: int = -1


def group_lines(notes: Iterable[TextLine]) -> list[TextLine]:
    """Return a line for each note; those of one theme share a line that tells the number of each.

    Cautions come first, then what needs a person, and small matters last, where a long list is cut off. A note without
    a theme is never joined with another, however alike: what differs may be a place or a length.
    """
    ordered = sorted(
        notes, key=lambda note: (note.kind != "caution", not note.needs_a_person, note.kind == "other")
    )
    groups: dict[tuple[str, str, bool] | int, list[TextLine]] = {}
    for number, note in enumerate(ordered):
        shared = (note.kind, note.theme, note.needs_a_person)
        groups.setdefault(shared if note.theme and note.pass_name else number, []).append(note)
    return [_joined(group) for group in groups.values()]


def _joined(group: list[TextLine]) -> TextLine:
    first = group[0]
    if len(group) == 1:
        return first
    told = (f"{one.pass_name}{'' if one.count is None else f' {one.count}'}" for one in group)
    return replace(first, pass_name=None, text=f"{first.theme}: {', '.join(told)}")
