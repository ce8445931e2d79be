"""What is wrong with a sheet, from key path to the error a person reads."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.errors import SheetError
from assembler.sheet.model.stretches import Accepted, Punch, Unrecorded
from assembler.sheet.model.tables import Pass, Reel, Session
from assembler.sheet.model.values import shown_key
from assembler.sheet.text.places import KeyPath, find_places, line_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from assembler.sheet.model.tables import Deliver, Repair, Sheet

    SheetTable = Session | Reel | Pass | Punch | Accepted | Unrecorded | Repair | Deliver


@dataclass(frozen=True)
class Problem:
    """One mistake: the key path it is at, what was found and is allowed.

    ``known`` are the keys allowed beside an unknown one; the nearest is looked for only if the problem is
    shown, since a hostile sheet may hold very many of them.
    """

    keys: KeyPath
    words: str
    known: tuple[str, ...] = ()


def dotted_key(keys: KeyPath) -> str:
    """Return a key path as a person reads it, tables counted from 1: ``pass[2].audio``."""
    text = ""
    for key in keys:
        if isinstance(key, int):
            text += f"[{key + 1}]"
        else:
            text += ("." if text else "") + shown_key(key)
    return text


def first_error(problems: Sequence[Problem], places: Mapping[KeyPath, int], file: Path | None) -> SheetError:
    """Return the error for the first problem in the order of the file, with the number of the others."""

    def place(problem: Problem) -> tuple[bool, int]:
        line = line_of(places, problem.keys)
        return line is None, line or 0

    first = min(problems, key=place)
    words = first.words + _suggestion(first)
    if len(problems) > 1:
        words += f" (and {len(problems) - 1} more in this sheet)"
    return SheetError(words, file=file, line=line_of(places, first.keys), key=dotted_key(first.keys))


def _suggestion(problem: Problem) -> str:
    if not problem.known:
        return ""
    near = difflib.get_close_matches(str(problem.keys[-1])[:80], problem.known, n=1)
    return f'; did you mean "{near[0]}"?' if near else f"; allowed: {', '.join(problem.known)}"


def sheet_error(sheet: Sheet, record: SheetTable, key: str, problem: str) -> SheetError:
    """Return an error at one key of one of the sheet's records, with file, line and dotted key.

    For whoever finds later, with the files open, that the sheet does not hold: raise what this returns.

    Args:
        sheet: the sheet.
        record: one of its own records.
        key: the key in the record's table as the sheet writes it, for instance ``audio``; a key that the
            sheet leaves to its default gives the line of the table.
        problem: what was found and what is allowed, one or two lines.
    """
    keys = (*_table_of(sheet, record), key)
    places = find_places(sheet.text.decode("utf-8-sig"))
    return SheetError(problem, file=sheet.path, line=line_of(places, keys), key=dotted_key(keys))


def _table_of(sheet: Sheet, record: SheetTable) -> KeyPath:
    if isinstance(record, Reel):
        return "reel", sheet.reels.index(record)
    if isinstance(record, Pass):
        return "pass", sheet.passes.index(record)
    if isinstance(record, Punch):
        return "punch", sheet.punches.index(record)
    if isinstance(record, Accepted):
        return "accepted", sheet.accepted.index(record)
    if isinstance(record, Unrecorded):
        return "unrecorded", sheet.unrecorded.index(record)
    return (type(record).__name__.lower(),)
