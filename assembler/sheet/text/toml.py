"""TOML that a person has written, read with a guard: nothing hangs, no text costs much time or memory.

Sheets and plans are read here alike: the bytes of a regular file, up to a limit, then UTF-8, then TOML. Every mistake
is a SheetError with file, line where there is one, what was found and what is allowed.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.errors import CaptureError, SheetError
from assembler.inputs import InputFile
from assembler.sheet.near import near_words

if TYPE_CHECKING:
    from pathlib import Path

    Table = dict[str, object]

# tomllib takes a time and a memory that grow with the square of the parts of a dotted key (measured with Python
# 3.11: 17 s for 64 kB of dots). A list of 128 files on one line has a few hundred dots.
_MOST_DOTS_IN_A_LINE = 1000
# The sum of the squares over all lines: as much as twenty lines of so many, which take a second or two.
_MOST_DOTS_SQUARED = 20 * _MOST_DOTS_IN_A_LINE**2

_PLAIN_FAULTS = {
    r"cannot declare .* twice": "this table stands here for the second time",
    r"cannot overwrite a value": "this key stands here for the second time",
}


@dataclass(frozen=True)
class TomlKind:
    """What a text is meant to be.

    Args:
        name: what it is called, as "a session sheet (TOML)".
        holds: what an empty one lacks.
        most_bytes: far more than any honest one has.
    """

    name: str
    holds: str
    most_bytes: int


def read_file(path: Path, kind: TomlKind) -> bytes:
    """Return the bytes of a file, one more than its kind may have at most.

    Raises:
        SheetError: it is not there, is no regular file, or can't be read.
    """
    try:
        with InputFile(path) as file:
            return file.read_all(kind.most_bytes)
    except CaptureError as error:
        if isinstance(error.__cause__, FileNotFoundError):
            near = near_words(path.parent, path.name)
            raise SheetError(f"no such file; allowed: {kind.name}{near}", file=path) from error
        raise SheetError(f"{error.problem}; allowed: {kind.name}", file=path) from error


def decode_text(text: bytes, path: Path | None, kind: TomlKind) -> str:
    """Return a text's characters, without a byte order mark.

    Raises:
        SheetError: it is too long, empty, or not UTF-8.
    """
    if len(text) > kind.most_bytes:
        words = f"more than {kind.most_bytes} bytes; allowed: {kind.name}, far smaller"
        raise SheetError(words, file=path)
    if text.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise SheetError("saved as UTF-16; allowed: UTF-8 (save it again as that)", file=path, line=1)
    try:
        decoded = text.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = text.count(b"\n", 0, error.start) + 1
        raise SheetError(
            f"found the byte 0x{text[error.start]:02X}, which is not UTF-8; allowed: UTF-8 (save it as that)",
            file=path,
            line=line,
        ) from error
    if not decoded.strip():
        raise SheetError(f"the file is empty; allowed: {kind.holds}", file=path)
    return decoded


def parse_toml(text: str, path: Path | None) -> Table:
    """Return the values of a TOML text.

    Raises:
        SheetError: it is not TOML, or of a kind that would take unreasonable time.
    """
    squared = 0
    for number, line in enumerate(text.split("\n"), 1):
        dots = line.count(".")
        squared += dots * dots
        if dots > _MOST_DOTS_IN_A_LINE or squared > _MOST_DOTS_SQUARED:
            words = f"more than {_MOST_DOTS_IN_A_LINE} dots in a line"
            if dots <= _MOST_DOTS_IN_A_LINE:
                words = "too many lines up to here have dozens of dots or more"
            raise SheetError(f"{words}; allowed: long lists in several lines", file=path, line=number)
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise SheetError("not valid TOML: brackets nested too deeply", file=path) from error
    except ValueError as error:
        line_number, words = _toml_fault(str(error), last_line=text.rstrip().count("\n") + 1)
        raise SheetError(f"not valid TOML: {words}", file=path, line=line_number) from error


def _toml_fault(message: str, last_line: int) -> tuple[int | None, str]:
    """Return the line that tomllib complains of, and its words in ours where they are a programmer's.

    The place is in the message alone until Python 3.14; a value that can't be converted has none.
    """
    match = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|(end of document))\)", message, re.DOTALL)
    if match is None:
        return None, "a number has too many digits" if "digits" in message else message
    words = match[1][:1].lower() + match[1][1:]
    for pattern, plain in _PLAIN_FAULTS.items():
        words = re.sub(pattern, plain, words)
    return (
        (last_line, f"{words} at the end") if match[4] else (int(match[2]), f"{words} at column {match[3]}")
    )
