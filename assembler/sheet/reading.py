"""A session sheet from its bytes: TOML, then the tables one by one, then all together.

Every mistake is a SheetError that names file, line and key, what was found and what is allowed. All mistakes
are looked for before the first (in the order of the file) is reported, so that the number of the others can
be told.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from typing import TYPE_CHECKING, TypeVar, get_args

from pydantic import ValidationError

from assembler.errors import SheetError
from assembler.sheet.checks import Tables, check_paths, check_tables
from assembler.sheet.faults import Problem, first_error
from assembler.sheet.model import (
    Deliver,
    FrameRateName,
    Pass,
    Punch,
    Reel,
    Repair,
    Session,
    Sheet,
    shown,
    smallest_word_length,
)
from assembler.sheet.places import find_places

if TYPE_CHECKING:
    from pathlib import Path

    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

    from assembler.sheet.places import KeyPath

    Table = dict[str, object]

_Record = TypeVar("_Record", Session, Reel, Pass, Punch, Repair, Deliver)

# A sheet for 128 tracks and dozens of passes has some 50 kB.
_MOST_BYTES = 1 << 20
# tomllib takes a time that grows with the square of the parts of a dotted key (measured with Python 3.11: 17
# s for 64 kB of dots). A list of 128 files on one line has a few hundred dots.
_MOST_DOTS_IN_A_LINE = 1000

_PLAIN_FAULTS = {
    r"cannot declare .* twice": "this table stands here for the second time",
    r"cannot overwrite a value": "this key stands here for the second time",
}

_MISSING = "missing; required"
_TABLE_KEYS = ("session", "reel", "pass", "punch", "repair", "deliver")


def load_sheet(path: Path, *, allow_outside: bool = False) -> Sheet:
    """Return the checked sheet in a file.

    Args:
        path: the sheet; its paths are relative to the folder it lies in.
        allow_outside: paths may leave that folder.

    Raises:
        SheetError: the file can't be read, or anything in it is wrong.
    """
    try:
        if not path.exists():
            raise SheetError("no such file; allowed: a session sheet (TOML)", file=path)
        if not path.is_file():
            raise SheetError("a folder or device; allowed: a session sheet (TOML)", file=path)
        with path.open("rb") as stream:
            text = stream.read(_MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise SheetError(f"can't be read: {reason}", file=path) from error
    return parse_sheet(text, path=path, folder=path.parent, allow_outside=allow_outside)


def parse_sheet(text: bytes, *, path: Path | None, folder: Path, allow_outside: bool = False) -> Sheet:
    """Return the checked sheet in a text.

    A byte order mark and either kind of line end are accepted.

    Args:
        text: the sheet's bytes, TOML in UTF-8; kept as they are in the result.
        path: the file the text is from, for errors; None if it never was in one.
        folder: what the sheet's paths are relative to.
        allow_outside: paths may leave ``folder``.

    Raises:
        SheetError: anything in it is wrong; the first mistake in the order of the file.
    """
    decoded = _decode(text, path)
    document = _parse_toml(decoded, path)
    places = find_places(decoded)
    problems: list[Problem] = []
    tables, repair, deliver = _read_tables(document, problems)
    problems += check_tables(tables, places)
    if not allow_outside:
        problems += check_paths(tables.passes, folder)
    if problems or tables.session is None or repair is None or deliver is None:
        raise first_error(problems, places, path)
    return Sheet(
        path=path,
        folder=folder,
        text=text,
        session=tables.session,
        reels=tuple(tables.reels.values()),
        passes=tuple(tables.passes.values()),
        punches=tuple(tables.punches.values()),
        repair=repair,
        deliver=deliver,
        allow_outside=allow_outside,
    )


def _decode(text: bytes, path: Path | None) -> str:
    if len(text) > _MOST_BYTES:
        raise SheetError(f"more than {_MOST_BYTES} bytes; allowed: a session sheet, far smaller", file=path)
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
        raise SheetError("the sheet is empty; allowed: a [session], [[reel]] and [[pass]] tables", file=path)
    return decoded


def _parse_toml(text: str, path: Path | None) -> Table:
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") > _MOST_DOTS_IN_A_LINE:
            words = f"more than {_MOST_DOTS_IN_A_LINE} dots in a line; allowed: long lists in several lines"
            raise SheetError(words, file=path, line=number)
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


def _read_tables(document: Table, problems: list[Problem]) -> tuple[Tables, Repair | None, Deliver | None]:
    problems += [Problem((key,), "unknown key", _TABLE_KEYS) for key in document if key not in _TABLE_KEYS]
    session = _single(document, "session", problems)
    if "session" not in document:
        problems.append(Problem(("session",), f"{_MISSING}: a [session] table"))
    deliver = _single(document, "deliver", problems)
    bit_depth = session.get("bit_depth")
    if isinstance(bit_depth, int):
        deliver.setdefault("word_length", smallest_word_length(bit_depth))
        problems += _short_words(bit_depth, deliver["word_length"])
    else:
        deliver.setdefault("word_length", 24)  # only stands in while the session's own mistake is reported
    rate = session.get("frame_rate")
    raw = {table: _several(document, table, problems) for table in ("reel", "pass", "punch")}
    tables = Tables(
        session=_record(Session, ("session",), session, problems) if "session" in document else None,
        frame_rate=rate if isinstance(rate, str) and rate in get_args(FrameRateName) else None,
        reels=_records(Reel, "reel", raw["reel"], problems),
        passes=_records(Pass, "pass", raw["pass"], problems),
        punches=_records(Punch, "punch", raw["punch"], problems),
        reel_names=_names(raw["reel"]),
        pass_names=_names(raw["pass"]),
    )
    repair = _record(Repair, ("repair",), _single(document, "repair", problems), problems)
    return tables, repair, _record(Deliver, ("deliver",), deliver, problems)


def _short_words(bit_depth: int, word_length: object) -> list[Problem]:
    if word_length == 16 and bit_depth in (20, 24):
        return [Problem(("deliver", "word_length"), f"found 16; allowed: 24, as bit_depth is {bit_depth}")]
    return []


def _single(document: Table, name: str, problems: list[Problem]) -> Table:
    value = document.get(name, {})
    if isinstance(value, dict):
        return dict(value)
    problems.append(Problem((name,), f"found {shown(value)}; allowed: one table, [{name}]"))
    return {}


def _several(document: Table, name: str, problems: list[Problem]) -> list[Table]:
    value = document.get(name, [])
    if not isinstance(value, list) or not all(isinstance(table, dict) for table in value):
        problems.append(
            Problem((name,), f"found {shown(value)}; allowed: tables that each begin with [[{name}]]")
        )
        return []
    if not value and name != "punch":
        problems.append(Problem((name,), f"no {name} in the sheet; required: at least one [[{name}]] table"))
    return value


def _names(tables: list[Table]) -> dict[int, str]:
    names = ((index, table.get("name")) for index, table in enumerate(tables))
    return {index: name for index, name in names if isinstance(name, str)}


def _records(
    model: type[_Record], name: str, tables: list[Table], problems: list[Problem]
) -> dict[int, _Record]:
    read = ((index, _record(model, (name, index), table, problems)) for index, table in enumerate(tables))
    return {index: record for index, record in read if record is not None}


def _record(model: type[_Record], keys: KeyPath, table: Table, problems: list[Problem]) -> _Record | None:
    """Return one table as its record; None, and what is wrong in ``problems``, if it can't be one."""
    known = tuple(field.alias or name for name, field in model.model_fields.items())
    unknown = [key for key in table if key not in known]
    problems += [Problem((*keys, key), "unknown key", known) for key in unknown]
    try:
        record = model.model_validate({key: value for key, value in table.items() if key in known})
    except ValidationError as error:
        found = _problems_of(model, keys, error)
        problems += [problem for problem in found if not _is_misspelt(problem, unknown)]
        return None
    return record


def _is_misspelt(problem: Problem, unknown: list[str]) -> bool:
    """Whether a key is missing only because it stands there misspelt, which is a problem told already."""
    is_missing = problem.words.startswith(_MISSING)
    return is_missing and bool(difflib.get_close_matches(str(problem.keys[-1]), unknown[:20], n=1))


def _problems_of(model: type[BaseModel], keys: KeyPath, error: ValidationError) -> list[Problem]:
    """One problem a key: where pydantic complains of several items, the first stands for all."""
    allowed = {field.alias or name: field.description or "" for name, field in model.model_fields.items()}
    by_key: dict[str, Problem] = {}
    for details in error.errors(include_url=False):
        key = str(details["loc"][0])
        by_key.setdefault(key, Problem((*keys, key), _words(details, allowed[key])))
    return list(by_key.values())


def _words(details: ErrorDetails, allowed: str) -> str:
    if details["type"] == "missing":
        return f"{_MISSING}: {allowed}"
    if details["type"] == "value_error":
        return str(details["ctx"]["error"])
    return f"found {shown(details['input'])}; allowed: {allowed}"
