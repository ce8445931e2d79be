"""What a session is made from, and what a set was made from: two digests that are equal or not."""

from __future__ import annotations

import hashlib
import json
import time
from typing import TYPE_CHECKING

from assembler.consolidator import sha256_of
from assembler.inputs import FileState, open_regular
from assembler.inputs.files import UNSETTLED_NS
from assembler.record.recorded.reading import LARGEST_RECORD, read_record
from assembler.record.values import SOFTWARE, relative_path
from assembler.sheet import LARGEST_SHEET, find_audio, find_timecode

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from assembler.record.recorded.whole import RecordedSet
    from assembler.sheet import Sheet


def session_files(sheet: Sheet) -> list[Path]:
    """Return every capture and log that a sheet names, each once, in its order.

    Raises:
        SheetError: one is missing, or may not be used.
    """
    found: dict[Path, None] = {}
    for one in sheet.passes:
        found |= dict.fromkeys(find_audio(sheet, one))
        log = find_timecode(sheet, one)
        if log is not None:
            found[log] = None
    return list(found)


def shape_digest(sheet: Sheet, files: Iterable[Path]) -> str:
    """Return a digest of a sheet, and of the names and sizes of its files: quick, and the same wherever they lie.

    Raises:
        OSError: a file is not there any more.
    """
    rows = [[relative_path(sheet, path), path.stat().st_size] for path in files]
    return _digest([_sheet_digest(sheet.text), rows])


def seen_digest(sheet: Sheet, files: Iterable[Path]) -> str:
    """Return a digest of what the system tells of a session's files; "" where one was written to just now.

    Raises:
        OSError: a file is not there any more.
    """
    now = time.time_ns()
    rows = []
    for path in files:
        state = FileState.of(path)
        if now - state.mtime_ns <= UNSETTLED_NS:
            return ""
        # A disk may come back with another number; an inode and the time of its last change do not.
        rows.append(
            [relative_path(sheet, path), state.size, state.mtime_ns, state.ctime_ns, state.inode],
        )
    return _digest([SOFTWARE, _sheet_digest(sheet.text), rows])


def inputs_digest(sheet: Sheet, files: Iterable[Path]) -> str:
    """Return the digest of what a set of this session would be made from; every file is read.

    Raises:
        CaptureError: one cannot be read.
    """
    return _made_from(SOFTWARE, sheet.text, {relative_path(sheet, path): sha256_of(path) for path in files})


def record_digest(record: RecordedSet, sheet_text: bytes) -> str:
    """Return the digest of what a set was made from, by its record and its copy of the sheet."""
    digests: dict[str, str | None] = {file.path: file.sha256 for one in record.passes for file in one.files}
    digests |= {one.log.path: one.log.sha256 for one in record.passes if one.log is not None}
    return _made_from(record.program, sheet_text, digests)


def set_digest(folder: Path) -> str | None:
    """Return the digest of what a set was made from; None where a folder is no set that can be read."""
    try:
        record = read_record(_read(folder / "data/assembly.json", LARGEST_RECORD))
        return record_digest(record, _read(folder / "data/session.toml", LARGEST_SHEET))
    except (OSError, ValueError):
        return None


def _made_from(program: str, sheet_text: bytes, digests: Mapping[str, str | None]) -> str:
    return _digest([program, _sheet_digest(sheet_text), sorted(digests.items())])


def _sheet_digest(text: bytes) -> str:
    return hashlib.sha256(text).hexdigest()


def _read(path: Path, most: int) -> bytes:
    with open(open_regular(path), "rb") as file:  # noqa: PTH123 - a descriptor
        data = file.read(most + 1)
    if len(data) > most:
        raise ValueError(f"{path} is larger than {most} bytes")
    return data


def _digest(value: object) -> str:
    return hashlib.sha256(json.dumps(value, separators=(",", ":")).encode("ascii")).hexdigest()
