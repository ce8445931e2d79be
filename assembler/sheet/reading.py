"""A session sheet from its bytes: TOML, then the tables one by one, then all together.

Every mistake is a SheetError that names file, line and key, what was found and what is allowed. All mistakes
are looked for before the first (in the order of the file) is reported, so that the number of the others can
be reported.
"""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar, get_args

from pydantic import ValidationError

from assembler.sheet.checks.named import Tables
from assembler.sheet.checks.tables import check_paths, check_tables
from assembler.sheet.faults import Problem, first_error
from assembler.sheet.model.stretches import Accepted, Punch, Unrecorded
from assembler.sheet.model.tables import (
    Deliver,
    FrameRateName,
    Pass,
    Reel,
    Repair,
    Session,
    Sheet,
    smallest_word_length,
)
from assembler.sheet.model.values import shown
from assembler.sheet.text.places import find_places, line_of
from assembler.sheet.text.toml import TomlKind, decode_text, parse_toml, read_file

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

    from assembler.inputs import AnyPath
    from assembler.sheet.text.places import KeyPath
    from assembler.sheet.text.toml import Table

_Record = TypeVar("_Record", Session, Reel, Pass, Punch, Accepted, Unrecorded, Repair, Deliver)

LARGEST_SHEET = 1 << 20
"""Bytes; a sheet for 128 tracks and dozens of passes has some 50 kB."""

_SHEET = TomlKind("a session sheet (TOML)", "a [session], [[reel]] and [[pass]] tables", LARGEST_SHEET)

_MISSING = "missing; required"
_STRETCHES = ("punch", "accepted", "unrecorded")
_TABLE_KEYS = ("session", "reel", "pass", "punch", "accepted", "unrecorded", "repair", "deliver")


def load_sheet(path: AnyPath, *, allow_outside: bool = False) -> Sheet:
    """Return the checked sheet in a file.

    Args:
        path: the sheet; its paths are relative to the folder it lies in.
        allow_outside: paths may leave that folder.

    Raises:
        SheetError: the file can't be read, or anything in it is wrong.
    """
    path = Path(path)
    return parse_sheet(read_file(path, _SHEET), path=path, folder=path.parent, allow_outside=allow_outside)


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
    decoded = decode_text(text, path, _SHEET)
    document = parse_toml(decoded, path)
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
        accepted=tuple(_with_passes(index, one, tables, places) for index, one in tables.accepted.items()),
        unrecorded=tuple(tables.unrecorded.values()),
    )


def _with_passes(index: int, accepted: Accepted, tables: Tables, places: Mapping[KeyPath, int]) -> Accepted:
    """Return an accepted place with the passes that it was judged by: named, or else those whose tables stand above."""
    if accepted.passes is not None:
        return accepted
    line = line_of(places, ("accepted", index)) or 0
    of_reel = {number: one.name for number, one in tables.passes.items() if one.reel == accepted.reel}
    above = [
        name
        for number, name in of_reel.items()
        if name == accepted.take or (line_of(places, ("pass", number)) or 0) < line
    ]
    is_above_all = not [name for name in above if name != accepted.take]
    return accepted.model_copy(update={"passes": tuple(of_reel.values()) if is_above_all else tuple(above)})


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
    raw = {table: _several(document, table, problems) for table in ("reel", "pass", *_STRETCHES)}
    tables = Tables(
        session=_record(Session, ("session",), session, problems) if "session" in document else None,
        frame_rate=rate if isinstance(rate, str) and rate in get_args(FrameRateName) else None,
        reels=_records(Reel, "reel", raw["reel"], problems),
        passes=_records(Pass, "pass", raw["pass"], problems),
        punches=_records(Punch, "punch", raw["punch"], problems),
        accepted=_records(Accepted, "accepted", raw["accepted"], problems),
        unrecorded=_records(Unrecorded, "unrecorded", raw["unrecorded"], problems),
        reel_names=_names(raw["reel"]),
        pass_names=_names(raw["pass"]),
    )
    problems += _long_words(tables, deliver["word_length"])
    repair = _record(Repair, ("repair",), _single(document, "repair", problems), problems)
    return tables, repair, _record(Deliver, ("deliver",), deliver, problems)


def _short_words(bit_depth: int, word_length: object) -> list[Problem]:
    if word_length == 16 and bit_depth in (20, 24):
        return [Problem(("deliver", "word_length"), f"found 16; allowed: 24, as bit_depth is {bit_depth}")]
    return []


def _long_words(tables: Tables, word_length: object) -> list[Problem]:
    """A reel may have no longer words than the set: of a session of 20 bits the four low ones are zero."""
    if tables.session is not None and tables.session.bit_depth == 20:
        most, why = 20, "bit_depth of [session] is 20"
    elif word_length == 16:
        most, why = 16, "the delivered word_length is 16"
    else:
        return []
    allowed = "16" if most == 16 else "16 or 20"
    return [
        Problem(("reel", index, "bit_depth"), f"found {reel.bit_depth}; allowed: {allowed}, as {why}")
        for index, reel in tables.reels.items()
        if reel.bit_depth is not None and reel.bit_depth > most
    ]


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
    if not value and name not in _STRETCHES:
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
