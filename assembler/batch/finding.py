"""The sessions that lie in folders: every sheet, what it is called in the collection, and what its set will take."""

from __future__ import annotations

import datetime as dt
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.batch.digests import seen_digest, session_files, shape_digest
from assembler.collection import ReelRow, Row, latest_rows
from assembler.errors import AssemblerError, CaptureError, SheetError
from assembler.inputs import is_utf8, open_regular
from assembler.sheet import LARGEST_SHEET, file_name, find_audio, load_sheet, natural_key
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from assembler.sheet import Reel, Sheet

_SHEET_SIGN = re.compile(rb"^\s*\[\s*session\s*\]", re.MULTILINE)
"""The table that every sheet has, and no plan."""
_SET_SIGN = "bagit.txt"
_USUAL_STEM = "session"
HEADER_ROOM = 1 << 16
"""Bytes of metadata in each track, at most."""


@dataclass(frozen=True)
class FoundSession:
    """A session as it lies on disk.

    Args:
        row: what is known of it before anything is built: its sheet, digests, tapes and transfer notes.
        needed_bytes: that its set will take, about; 0 where its sheet or captures cannot be read.
    """

    row: Row
    needed_bytes: int


def find_sessions(
    folders: Sequence[Path],
    root: Path,
    before: Iterable[Row],
    progress: Callable[[str, float], None],
    *,
    allow_outside: bool,
) -> list[FoundSession]:
    """Return every session that lies in folders or below them.

    Args:
        folders: to look through.
        root: of the collection.
        before: rows of the ledger, by which sessions keep their names.
        progress: called with what is being done and the share of it that is done.
        allow_outside: the sheets' paths may lead out of their folders.

    Raises:
        CaptureError: a folder cannot be looked through, or what it holds cannot be written down.
        SheetError: there is no sheet.
    """
    sheets = find_sheets(folders, root)
    if not sheets:
        where = ", ".join(str(folder) for folder in folders)
        raise SheetError(f"{where}: no sheet is in there; allowed: folders that hold sheets (.toml)")
    # Of a session whose sheet is gone another one takes the name: it has been moved.
    known = {row.sheet: row.session for row in latest_rows(before).values() if Path(row.sheet).is_file()}
    found = []
    for path, name in named_apart(sheets, known).items():
        found.append(look_at(path, name, allow_outside=allow_outside))
        progress("looking at sessions", len(found) / len(sheets))
    return found


def find_sheets(folders: Sequence[Path], root: Path) -> dict[Path, str]:
    """Return each sheet in folders and what lies below them, from the root, and a name for its session.

    Hidden folders, links to folders, sets and the collection's own root are passed over. The name is made of the
    folders between, or of the sheet's own name where it is an uncommon one.

    Raises:
        CaptureError: a folder cannot be looked through, or what it holds cannot be written down.
    """
    found: dict[Path, str] = {}
    for folder in folders:
        top = Path(os.path.abspath(folder))  # noqa: PTH100 - links are not followed
        if not top.is_dir():
            raise CaptureError("is not a folder; allowed: folders that hold sheets", path=folder)
        for path in _sheets_below(top, Path(os.path.realpath(root))):
            found.setdefault(path, _name(top, path))
    return found


def look_at(path: Path, session: str, *, allow_outside: bool) -> FoundSession:
    """Return what can be reported of a session without reading a sample. What is wrong with it, building tells.

    Args:
        path: its sheet.
        session: its name in the collection.
        allow_outside: the sheet's paths may lead out of its folder.
    """
    row = Row(session=session, sheet=str(path))
    try:
        sheet = load_sheet(path, allow_outside=allow_outside)
        row = row.model_copy(
            update={
                "title": sheet.session.title,
                "reels": tuple(ReelRow(name=reel.name, prepared=_prepared(reel)) for reel in sheet.reels),
            }
        )
        files = session_files(sheet)
        row = row.model_copy(update={"shape": shape_digest(sheet, files), "seen": seen_digest(sheet, files)})
        return FoundSession(row, _needed_bytes(sheet))
    except (AssemblerError, OSError):
        return FoundSession(row, 0)


def _sheets_below(top: Path, root: Path) -> Iterator[Path]:
    def refuse(error: OSError) -> None:
        raise CaptureError(f"cannot be looked through: {error.strerror}", path=error.filename) from error

    for folder, below, names in os.walk(top, onerror=refuse):
        if _SET_SIGN in names or Path(os.path.realpath(folder)) == root:
            below.clear()
            continue
        below[:] = sorted((name for name in below if not name.startswith(".")), key=natural_key)
        for name in sorted(names, key=natural_key):
            path = Path(folder) / name
            if not name.startswith(".") and path.suffix.lower() == ".toml" and _is_sheet(path):
                if not is_utf8(path):
                    raise CaptureError(
                        "the name is not UTF-8; allowed: names in UTF-8 (rename it)", path=path
                    )
                yield path


def _is_sheet(path: Path) -> bool:
    try:
        with open(open_regular(path), "rb") as file:  # noqa: PTH123 - a descriptor
            return bool(_SHEET_SIGN.search(file.read(LARGEST_SHEET)))
    except OSError:
        return path.stem == _USUAL_STEM  # for whoever is meant to be built the row says why it is not


def _name(top: Path, path: Path) -> str:
    parts = [*path.parent.relative_to(top).parts]
    if path.stem.lower() != _USUAL_STEM or not parts:
        parts.append(top.name if path.stem.lower() == _USUAL_STEM else path.stem)
    return file_name("_".join(parts))


def _needed_bytes(sheet: Sheet) -> int:
    """Return what a set takes at least: each reel as long as its longest pass, by the headers of the first files."""
    frames: dict[str, int] = {}
    for one in sheet.passes:
        try:
            with WaveFile(find_audio(sheet, one)[0]) as file:
                frames[one.reel] = max(frames.get(one.reel, 0), file.info.frames)
        except (CaptureError, SheetError):
            continue
    sample_bytes = sheet.deliver.word_length // 8
    return sum(
        sum(map(bool, reel.tracks)) * (frames.get(reel.name, 0) * sample_bytes + HEADER_ROOM)
        for reel in sheet.reels
    )


def _prepared(reel: Reel) -> dict[str, str]:
    return {key: _shown(value) for key, value in reel.prepared.items()}


def _shown(value: object) -> str:
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def named_apart(names: Mapping[Path, str], known: Mapping[str, str]) -> dict[Path, str]:
    """Return the sessions' names with no two alike, in whatever case of letters.

    Args:
        names: wanted for each sheet.
        known: names by the sheets that have them already.
    """
    taken = {name.casefold() for name in known.values()}
    found: dict[Path, str] = {}
    for path, wanted in names.items():
        name = known.get(str(path))
        number = 1
        while name is None:
            tried = wanted if number == 1 else f"{wanted} ({number})"
            name = tried if tried.casefold() not in taken else None
            number += 1
        taken.add(name.casefold())
        found[path] = name
    return found
