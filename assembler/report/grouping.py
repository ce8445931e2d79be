"""Small matters that many passes have to tell alike, told once: on the terminal and on the page."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

MOST_NAMES = 5
"""Passes named where many have the same small matter to tell."""


@dataclass(frozen=True)
class TextLine:
    """What one note says.

    Args:
        kind: of the note.
        pass_name: the pass it is about; None where it is about no single one.
        text: its words.
    """

    kind: str
    pass_name: str | None
    text: str


def group_lines(notes: Iterable[TextLine]) -> list[TextLine]:
    """Return the notes; small matters that are alike in several passes become one, which names the others."""
    kept: list[TextLine] = []
    sharing: dict[tuple[str, int], int] = {}
    names: dict[int, list[str]] = {}
    counts: Counter[tuple[str, str]] = Counter()
    for note in notes:
        if note.kind == "other" and note.pass_name is not None:
            # The same but for its numbers; several of one pass are told one by one.
            words = re.sub(r"[0-9]+", "0", note.text.removeprefix(note.pass_name))
            counts[note.pass_name, words] += 1
            first = sharing.setdefault((words, counts[note.pass_name, words]), len(kept))
            if first < len(kept):
                names.setdefault(first, []).append(note.pass_name)
                continue
        kept.append(note)
    return [
        replace(note, text=f"{note.text}{_likewise(names.get(index, []))}") for index, note in enumerate(kept)
    ]


def _likewise(names: Sequence[str]) -> str:
    if not names:
        return ""
    more = len(names) - MOST_NAMES
    return f" (alike in {', '.join(names[:MOST_NAMES])}{f' and {more} more' if more > 0 else ''})"
