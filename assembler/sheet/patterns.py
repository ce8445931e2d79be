"""The files that a pattern stands for: ``*``, ``?`` and ``[...]`` within a name, ``**`` any depth of folders."""

from __future__ import annotations

import fnmatch
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_PATTERN_SIGNS = re.compile(r"[*?\[]")

# A pattern that goes through more than this points at the wrong place (a whole disk, say); it must end all the same.
_MOST_STEPS = 100_000


def is_pattern(text: str) -> bool:
    """Return whether a path, or a part of one, has signs that stand for something else."""
    return bool(_PATTERN_SIGNS.search(text))


def matches(folder: Path, pattern: str) -> Iterator[Path]:
    """Yield what matches a pattern below a folder, folders too; some of it twice.

    Raises:
        OSError: a folder cannot be looked through, or there is far too much to look at.
    """
    yield from _matches(folder, Path(pattern).parts, iter(range(_MOST_STEPS)))


def _matches(folder: Path, parts: tuple[str, ...], steps: Iterator[int]) -> Iterator[Path]:
    """Paths below a folder that match a pattern; a part that exists as it is written is itself."""
    _take_step(folder, steps)
    if not parts:
        yield folder
        return
    first, rest = parts[0], parts[1:]
    if first == "**":
        for below in _folders(folder, steps):
            yield from _matches(below, rest or ("*",), steps)
    elif os.path.lexists(folder / first):
        if not rest or (folder / first).is_dir():
            yield from _matches(folder / first, rest, steps)
    elif is_pattern(first):
        for name in _matching_names(folder, first, only_folders=bool(rest)):
            yield from _matches(folder / name, rest, steps)


def _matching_names(folder: Path, pattern: str, *, only_folders: bool) -> list[str]:
    matcher = re.compile(fnmatch.translate(pattern), re.IGNORECASE)
    with os.scandir(folder) as entries:
        return [
            entry.name
            for entry in entries
            if matcher.match(entry.name)
            and (pattern.startswith(".") or not entry.name.startswith("."))
            and (not only_folders or entry.is_dir())
        ]


def _folders(folder: Path, steps: Iterator[int]) -> Iterator[Path]:
    """A folder and every folder below it, hidden ones and links to folders left out."""
    for top, below, _ in os.walk(folder):
        _take_step(folder, steps)
        below[:] = [name for name in below if not name.startswith(".")]
        yield Path(top)


def _take_step(folder: Path, steps: Iterator[int]) -> None:
    if next(steps, None) is None:
        raise OSError(0, f"more than {_MOST_STEPS} files and folders to look at", str(folder))
