"""Which line of a TOML text each key stands on.

``tomllib`` gives values without their places, and an error of the sheet names a line. This scanner follows
just enough of the grammar (TOML 1.0.0: comments, keys, strings, tables, arrays of tables) to find the places
in a text that ``tomllib`` has accepted; it judges nothing. Given any other text it ends all the same, in time
that grows with its length.

A place is named by a key path: the keys from the top, with the index (from 0) after the name of an array of
tables. Values of inline tables and arrays have no place of their own: they stand on the line of their key.
"""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

KeyPath: TypeAlias = tuple[str | int, ...]

# The deepest key that a sheet knows has three parts. Deeper places are left out (their table's line stands
# for them), so that a text made of thousands of dots costs no memory.
_DEEPEST = 8

# No way back into a key or string that has ended, hence linear time. What is repeated stands in atomic groups: a
# possessive quantifier of a group loses its place in Python before 3.11.5.
_KEY_PART = r"""(?:"(?>(?:[^"\\\n]|\\.)*)"|'[^'\n]*+'|[^\s.=\[\]{}#"',]++)"""
_DOTTED_KEY = rf"{_KEY_PART}(?>(?:[ \t]*+\.[ \t]*+{_KEY_PART})*)"
_STATEMENT = re.compile(
    rf"[ \t]*+(?:\[\[[ \t]*+(?P<array>{_DOTTED_KEY})"
    rf"|\[[ \t]*+(?P<table>{_DOTTED_KEY})"
    rf"|(?P<key>{_DOTTED_KEY})[ \t]*+=)"
)
_VALUE_TOKEN = re.compile(
    r'''"""(?>(?:[^"\\]|\\.|"{1,2}(?!"))*)"{3,5}'''
    r"""|'''(?>(?:[^']|'{1,2}(?!'))*)'{3,5}"""
    r'''|"(?>(?:[^"\\\n]|\\.)*)"'''
    r"""|'[^'\n]*+'"""
    r"""|(?P<comment>\#[^\n]*+)"""
    r"""|(?P<opening>[\[{])|(?P<closing>[\]}])|(?P<end>\n)"""
    r"""|[^"'\#\[\]{}\n]++|.""",
    re.DOTALL,
)


def find_places(text: str) -> dict[KeyPath, int]:
    """Return the line, from 1, on which each key, table and array element of a TOML text first stands.

    Args:
        text: a text that ``tomllib.loads`` accepts.
    """
    places: dict[KeyPath, int] = {}
    lengths: dict[KeyPath, int] = {}
    table: KeyPath | None = ()
    for line, kind, parts in _statements(text):
        if len(parts) > _DEEPEST:
            table = table if kind == "key" else None
        elif kind == "key" and table is not None:
            _mark(places, table, parts, line)
        elif kind != "key":
            table = _open_table(places, lengths, parts, line, is_array=kind == "array")
    return places


def line_of(places: Mapping[KeyPath, int], keys: KeyPath) -> int | None:
    """Return the line of a key, else of the nearest table around it; None for the sheet as a whole."""
    for length in range(len(keys), 0, -1):
        if keys[:length] in places:
            return places[keys[:length]]
    return None


def _open_table(
    places: dict[KeyPath, int], lengths: dict[KeyPath, int], parts: KeyPath, line: int, *, is_array: bool
) -> KeyPath:
    """Mark a table header and return the key path of the table that it opens."""
    path: KeyPath = ()
    for depth, part in enumerate(parts, 1):
        path = (*path, part)
        places.setdefault(path, line)
        if is_array and depth == len(parts):
            lengths[path] = lengths.get(path, 0) + 1
        if path in lengths:
            path = (*path, lengths[path] - 1)
            places.setdefault(path, line)
    return path


def _mark(places: dict[KeyPath, int], table: KeyPath, parts: KeyPath, line: int) -> None:
    for depth in range(1, len(parts) + 1):
        places.setdefault(table + parts[:depth], line)


def _statements(text: str) -> Iterator[tuple[int, str, KeyPath]]:
    """Give line, kind (``array``, ``table`` or ``key``) and dotted key of every statement."""
    position, line = 0, 1
    while position < len(text):
        match = _STATEMENT.match(text, position)
        if match and match.lastgroup:
            yield line, match.lastgroup, _parts(match[match.lastgroup])
        end = _end_of_statement(text, match.end() if match else position)
        line += text.count("\n", position, end)
        position = end


def _end_of_statement(text: str, position: int) -> int:
    """Return the position after the line end that closes a value, strings and brackets skipped whole."""
    depth = 0
    while position < len(text):
        match = _VALUE_TOKEN.match(text, position)
        if match is None:  # cannot be: the last alternative takes any character
            break
        position = match.end()
        if match.lastgroup == "opening":
            depth += 1
        elif match.lastgroup == "closing":
            depth = max(0, depth - 1)  # a table header's own brackets close without having opened here
        elif match.lastgroup == "end" and depth == 0:
            break
    return position


def _parts(dotted: str) -> KeyPath:
    return tuple(_unquoted(part) for part in re.findall(_KEY_PART, dotted))


def _unquoted(part: str) -> str:
    if part[0] == "'":
        return part[1:-1]
    if part[0] == '"' and "\\" in part:
        try:
            return str(tomllib.loads(f"key = {part}")["key"])
        except tomllib.TOMLDecodeError:
            return part  # not TOML: the caller's own parser says so
    return part.strip('"') if part[0] == '"' else part
