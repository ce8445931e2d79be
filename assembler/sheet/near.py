"""The existing path that somebody may have meant who wrote another one."""

from __future__ import annotations

import difflib
from itertools import islice, takewhile
from pathlib import Path

from assembler.sheet.model.tables import MOST_FILES
from assembler.sheet.model.values import shown
from assembler.sheet.patterns import is_pattern


def near_words(folder: Path, text: str) -> str:
    """Return the existing path that differs from one in letter case alone, or else by a slip of the pen, in words."""
    found = folder
    for part in Path(text).parts:
        if part in (".", "..", "/"):
            found /= part
            continue
        try:
            names = sorted(path.name for path in islice(found.iterdir(), MOST_FILES))
        except OSError:
            return ""
        alike = [name for name in names if name == part] or [n for n in names if n.lower() == part.lower()]
        alike = alike or difflib.get_close_matches(part, names, 1)
        if not alike:
            return ""
        found /= alike[0]
    try:
        near = found.relative_to(folder).as_posix()
    except ValueError:
        return ""
    return f"; near it is {shown(near)}"


def near_folder_words(folder: Path, pattern: str) -> str:
    """Return the existing folder that the first parts of a pattern may have meant, in words; else nothing."""
    plain = list(takewhile(lambda part: not is_pattern(part), Path(pattern).parts[:-1]))
    place = Path(*plain)
    return near_words(folder, place.as_posix()) if plain and not (folder / place).exists() else ""
