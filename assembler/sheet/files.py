"""The capture files that a sheet's paths and patterns stand for.

The only module of this package, beside ``reading``, that looks at the disk; it looks at names and never opens
a capture. Paths come back as ``folder / ...``, links not followed, so that they can be reported relative to the
sheet.
"""

from __future__ import annotations

import os
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from assembler.inputs import is_utf8, kind_of
from assembler.sheet.faults import sheet_error
from assembler.sheet.model.sources import LOG_SUFFIXES
from assembler.sheet.model.tables import INSIDE, MOST_FILES, Pass, Sheet
from assembler.sheet.model.values import shown
from assembler.sheet.names import NaturalKey, natural_key
from assembler.sheet.near import near_folder_words, near_words
from assembler.sheet.patterns import is_pattern, matches

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

# What `timecode.*` beside the audio may be: a log, or a recording of the timecode signal.
_TIMECODE_SUFFIXES: Final = (*LOG_SUFFIXES, ".wav")


def find_audio(sheet: Sheet, pass_: Pass) -> tuple[Path, ...]:
    """Return the audio files of a pass: a list as it stands, a pattern's files in natural order.

    A pattern's ``*``, ``?`` and ``[...]`` match within a name whatever the letter case, ``**`` any depth of
    folders. A name that exists as it is written is that name, signs and all. From what a pattern matches,
    hidden files (a dot in front), timecode logs and recordings of timecode are left out.

    Args:
        sheet: the sheet.
        pass_: one of its passes.

    Raises:
        SheetError: nothing matches; a file is missing, is listed twice, is a timecode, or lies outside the
            sheet's folder (links followed) without being allowed to; a folder can't be looked through.
    """
    with _failures_told(sheet, pass_, "audio"):
        if isinstance(pass_.audio, str):
            files = _find_pattern(sheet, pass_, pass_.audio)
        else:
            files = tuple(_find_file(sheet, pass_, path, "audio") for path in pass_.audio)
        _refuse_timecode(sheet, pass_, files)
    return files


def find_timecode(sheet: Sheet, pass_: Pass) -> Path | None:
    """Return the log, or the recording, that holds a pass's timecode; None if no file does.

    A pass that names none has the ``timecode.*`` beside its audio, else the only ``.mid`` or ``.csv`` there.

    Args:
        sheet: the sheet.
        pass_: one of its passes.

    Raises:
        SheetError: the file is missing or outside the sheet's folder; several files could be meant; the audio
            can't be found.
    """
    source = pass_.timecode
    with _failures_told(sheet, pass_, "timecode"):
        if source.kind in ("log", "ltc"):
            return _find_file(sheet, pass_, str(source.value), "timecode")
        return _find_beside(sheet, pass_) if source.kind == "default" else None


@contextmanager
def _failures_told(sheet: Sheet, pass_: Pass, key: str) -> Iterator[None]:
    """Turn what the system refuses (permissions, names too long) into an error at the sheet's key."""
    try:
        yield
    except OSError as error:
        words = f"can't look through {shown(str(error.filename or sheet.folder))}: {error.strerror or error}"
        raise sheet_error(sheet, pass_, key, words) from error


def _find_beside(sheet: Sheet, pass_: Pass) -> Path | None:
    """The timecode that lies beside the audio of a pass whose sheet names none."""
    folders = dict.fromkeys(path.parent for path in find_audio(sheet, pass_))
    beside = [path for folder in folders for path in _visible_files(folder)]
    called_timecode = [path for path in beside if _is_called_timecode(path)]
    candidates = called_timecode or [path for path in beside if path.suffix.lower() in LOG_SUFFIXES]
    if len(candidates) > 1:
        names = ", ".join(shown(path.name) for path in sorted(candidates)[:6])
        words = f"found {len(candidates)} that could be its log ({names}); allowed: one, or name it here"
        raise sheet_error(sheet, pass_, "timecode", words)
    for path in candidates:
        _refuse_unusable(sheet, pass_, path, "timecode")
        _refuse_outside(sheet, pass_, path, "timecode")
    return candidates[0] if candidates else None


def _find_file(sheet: Sheet, pass_: Pass, text: str, key: str) -> Path:
    path = sheet.folder / text
    if not path.exists():
        raise sheet_error(
            sheet, pass_, key, f"no file {shown(text)} in {sheet.folder}{near_words(sheet.folder, text)}"
        )
    kind = kind_of(path)
    if kind is not None:
        example = f"{text.rstrip('/')}/*.wav" if key == "audio" else "a file in it"
        allowed = f"a file, or {example}" if kind == "a folder" else "a file"
        found = f"the folder {shown(text)}" if kind == "a folder" else f"{shown(text)}, {kind}"
        raise sheet_error(sheet, pass_, key, f"found {found}; allowed: {allowed}")
    _refuse_outside(sheet, pass_, path, key)
    return path


def _find_pattern(sheet: Sheet, pass_: Pass, pattern: str) -> tuple[Path, ...]:
    if not is_pattern(pattern):
        return (_find_file(sheet, pass_, pattern, "audio"),)
    found = dict.fromkeys(matches(sheet.folder, pattern))
    not_tracks = _timecode_files(sheet, found)
    files = [path for path in found if not path.is_dir() and not _is_timecode(path, pass_, not_tracks)]
    if not files:
        words = f"no audio matches {shown(pattern)} in {sheet.folder}; allowed: a pattern of existing files"
        words += near_folder_words(sheet.folder, pattern)
        raise sheet_error(sheet, pass_, "audio", words)
    if len(files) > MOST_FILES:
        words = f"{shown(pattern)} stands for {len(files)} files; allowed: 1 to {MOST_FILES} files"
        raise sheet_error(sheet, pass_, "audio", words)
    for path in files:
        if not path.exists():
            words = f"{shown(path.name)} is a link to a file that is not there; allowed: existing files"
            raise sheet_error(sheet, pass_, "audio", words)
        _refuse_unusable(sheet, pass_, path, "audio")
        _refuse_outside(sheet, pass_, path, "audio")
    return tuple(sorted(files, key=_path_key))


def _visible_files(folder: Path) -> list[Path]:
    """What lies in a folder and is neither hidden nor a folder; a pipe is reported of where it is meant."""
    with os.scandir(folder) as entries:
        return [
            folder / entry.name for entry in entries if not entry.name.startswith(".") and not entry.is_dir()
        ]


def _real(path: Path) -> Path:
    # Path.resolve raises RuntimeError for links that go round in a circle; this leaves them.
    return Path(os.path.realpath(path))


def _path_key(path: Path) -> tuple[tuple[NaturalKey, ...], NaturalKey, str]:
    # The suffix comes last: "Kick.wav" stands before "Kick 2.wav", although "." sorts after a space.
    return tuple(natural_key(part) for part in path.parent.parts), natural_key(path.stem), path.suffix


def _is_called_timecode(path: Path) -> bool:
    return path.stem.lower() == "timecode" and path.suffix.lower() in _TIMECODE_SUFFIXES


def _timecode_files(sheet: Sheet, found: Iterable[Path]) -> set[Path]:
    """The files, links followed, that any pass of the sheet names as its timecode, if among those found."""
    named = sheet.timecode_files
    return {path for path in found if _real(path) in named} if named else set()


def _is_timecode(path: Path, pass_: Pass, named: set[Path]) -> bool:
    # On an `ltc_track` the timecode is one of the tape's tracks: a file of that name is wanted.
    by_name = _is_called_timecode(path) and pass_.timecode.kind != "ltc_track"
    return path in named or by_name or path.suffix.lower() in LOG_SUFFIXES


def _refuse_timecode(sheet: Sheet, pass_: Pass, files: tuple[Path, ...]) -> None:
    """Refuse a file listed as audio that is the timecode of a pass, and a file listed twice."""
    named = _timecode_files(sheet, files)
    seen: set[Path] = set()
    for path in files:
        if path in named or path.suffix.lower() in LOG_SUFFIXES:
            words = f"found {shown(path.name)}, which holds timecode; allowed: the captured tracks"
            raise sheet_error(sheet, pass_, "audio", words)
        real = _real(path)
        if real in seen:
            raise sheet_error(
                sheet, pass_, "audio", f"found {shown(path.name)} twice; allowed: each file once"
            )
        seen.add(real)


def _refuse_unusable(sheet: Sheet, pass_: Pass, path: Path, key: str) -> None:
    """Refuse a pipe or device, and a file that the record could not name.

    The record is UTF-8, and the system takes any bytes for a name.
    """
    named = os.path.relpath(path, sheet.folder)
    if not is_utf8(named):
        words = f"found {named}, a name that is not UTF-8; allowed: names in UTF-8 (rename it)"
        raise sheet_error(sheet, pass_, key, words)
    kind = kind_of(path)
    if kind is not None:
        raise sheet_error(sheet, pass_, key, f"found {shown(named)}, {kind}; allowed: a file")


def _refuse_outside(sheet: Sheet, pass_: Pass, path: Path, key: str) -> None:
    if not sheet.allow_outside and not _real(path).is_relative_to(_real(sheet.folder)):
        words = f"{shown(path.name)} is a link out of the sheet's folder; allowed: {INSIDE}"
        raise sheet_error(sheet, pass_, key, words)
