"""Looking through a folder of captures for a first sheet: what lies where, described for a draft."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.drafting.found import Draft, DraftPass
from assembler.errors import CaptureError, WaveError
from assembler.importer.places.log import read_log
from assembler.inputs import InputFile, is_utf8, kind_of
from assembler.sheet import LOG_SUFFIXES, natural_key, without_control_characters
from assembler.sheet.near import near_words
from assembler.timecode import RATES_BY_CODE
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.inputs import AnyPath
    from assembler.timecode import MidiLog
    from assembler.wave import WaveInfo

WAVE_SUFFIXES = (".wav", ".rf64", ".bw64")
LEAST_NUMBERED = 3
"""So many numbered tracks in a folder say that one without a number is none."""

MOST_FOLDERS = 2000
MOST_FILES = 20_000
"""WAV files that are looked at; a sheet that lists more is longer than a sheet may be."""


def look_through(folder: AnyPath) -> Draft:
    """Return what lies in a folder of captures.

    Every folder that holds WAV files is taken for one pass: its mono files are the tracks; a polyphonic file is
    a pass by itself. What could not be read is reported.

    Raises:
        CaptureError: the folder cannot be read, holds far too much, or a name in it cannot stand in a sheet.
    """
    folder = Path(folder)
    if not folder.is_dir():
        found = kind_of(folder)
        words = (
            f"is {found}, not a folder"
            if found
            else f"is not a folder{near_words(folder.parent, folder.name)}"
        )
        raise CaptureError(words, path=folder)
    passes: list[DraftPass] = []
    notes: list[str] = []
    left = MOST_FILES
    for place in _folders(folder, notes):
        found_here = _files_in(folder, place, notes)
        left -= len(found_here.waves)
        if left < 0:
            raise CaptureError(
                f"holds more than {MOST_FILES} WAV files; draft a folder of captures", path=folder
            )
        passes += _passes_in(folder, place, found_here, notes)
    title = folder.resolve().name or "Session"
    passes.sort(key=lambda one: natural_key(one.name))
    return Draft(title, tuple(passes), tuple(notes))


def _folders(folder: Path, notes: list[str]) -> list[Path]:
    """Return a folder and those in it; what cannot be listed goes into the notes."""

    def tell(error: OSError) -> None:
        notes.append(_unread(folder, Path(error.filename), error))

    found = []
    for count, (place, names, files) in enumerate(os.walk(folder, onerror=tell)):
        names[:] = sorted((name for name in names if not name.startswith(".")), key=natural_key)
        if "bagit.txt" in files:
            # A set that was built into the folder is no capture.
            names.clear()
            continue
        found.append(Path(place))
        if count >= MOST_FOLDERS:
            raise CaptureError(
                f"holds more than {MOST_FOLDERS} folders; draft a folder of captures", path=folder
            )
    return found


def _unread(root: Path, place: Path, error: OSError) -> str:
    return f"{_relative(root, place)} could not be looked through: {error.strerror}"


def _relative(root: Path, path: Path) -> str:
    return path.relative_to(root).as_posix()


@dataclass(frozen=True)
class _Files:
    """What lies in one folder, in natural order, hidden files left out."""

    waves: tuple[str, ...] = ()
    logs: tuple[str, ...] = ()


def _files_in(root: Path, place: Path, notes: list[str]) -> _Files:
    try:
        with os.scandir(place) as entries:
            found = sorted(
                (entry.name for entry in entries if not entry.name.startswith(".")), key=natural_key
            )
    except OSError as error:
        notes.append(_unread(root, place, error))
        return _Files()
    waves: list[str] = []
    logs: list[str] = []
    for name in found:
        suffix = Path(name).suffix.lower()
        if suffix not in (*WAVE_SUFFIXES, *LOG_SUFFIXES):
            continue
        kind = kind_of(place / name)
        if kind is None:
            (waves if suffix in WAVE_SUFFIXES else logs).append(name)
        elif kind != "a folder":
            # A device may do something when it is opened, a pipe waits for its writer.
            notes.append(f"{_relative(root, place / name)} is left out: {kind}, not a regular file")
    return _Files(tuple(waves), tuple(logs))


def _passes_in(root: Path, place: Path, files: _Files, notes: list[str]) -> list[DraftPass]:
    """Return the passes in a folder; what was left out of them goes with them, or else into the notes."""
    log = place / files.logs[0] if files.logs else None
    mono: list[tuple[Path, WaveInfo]] = []
    poly: list[tuple[Path, WaveInfo]] = []
    left_out: list[str] = []
    for name in files.waves:
        try:
            with WaveFile(place / name) as file:
                (mono if file.info.format.channels == 1 else poly).append((place / name, file.info))
        except WaveError as error:
            left_out.append(f"{name} is left out: {error.problem}")
    mix = mono_mix([path.stem for path, _ in mono])
    left_out += [
        f"{path.name} is left out: the only one of {len(mono)} without a number, a mix and no track"
        for path, _ in mono
        if path.stem == mix
    ]
    mono = [row for row in mono if row[0].stem != mix]
    drafts = [_pass(root, place, [row], log, left_out, Path(row[0]).stem) for row in poly]
    if mono:
        drafts.insert(0, _pass(root, place, mono, log, left_out, place.resolve().name))
    if not drafts:
        here = _relative(root, place)
        notes += [text if here == "." else f"{here}/{text}" for text in left_out]
    return drafts


def mono_mix(stems: Sequence[str]) -> str | None:
    """Return the name of a mix among the mono files of a folder; None where there is none.

    Tracks are numbered where each has another number: two toms and two microphones overhead are not.

    >>> mono_mix(["01", "02", "03", "04", "rough"]), mono_mix(["Tom 1", "Tom 2", "OH 1", "OH 2", "Bass"])
    ('rough', None)
    """
    numbers = [re.search("[0-9]+", stem) for stem in stems]
    plain = [stem for stem, number in zip(stems, numbers, strict=True) if number is None]
    told = {int(number[0]) for number in numbers if number is not None}
    is_numbered = len(told) >= LEAST_NUMBERED and len(told) + len(plain) == len(stems)
    return plain[0] if len(plain) == 1 and is_numbered else None


def _written(root: Path, path: Path, *, is_listed: bool) -> str:
    """Return a file's path as it stands in the sheet.

    Raises:
        CaptureError: a sheet cannot hold it.
    """
    text = _relative(root, path)
    if not is_utf8(text) or (is_listed and without_control_characters(text) != text):
        found = "is not UTF-8" if not is_utf8(text) else "has a control character in it"
        problem = f"the name {found}, so that a sheet cannot hold it; allowed: names in UTF-8 (rename it)"
        raise CaptureError(problem, path=path)
    return text


def _pass(
    root: Path,
    place: Path,
    rows: Sequence[tuple[Path, WaveInfo]],
    log: Path | None,
    notes: Sequence[str],
    name: str,
) -> DraftPass:
    rates = {info.format.sample_rate for _, info in rows}
    depths = {info.format.valid_bits for _, info in rows}
    tracks = sum(info.format.channels for _, info in rows)
    whole = len(rows) > 1 and len(rows) == sum(1 for path in place.glob("*.wav") if path.is_file())
    files = tuple(_written(root, path, is_listed=not whole) for path, _ in rows)
    pattern = f"{_relative(root, place)}/*.wav".removeprefix("./") if whole else None
    return DraftPass(
        name=name,
        files=files,
        tracks=tracks,
        sample_rate=rates.pop() if len(rates) == 1 else None,
        bit_depth=depths.pop() if len(depths) == 1 else None,
        pattern=pattern,
        log=None if log is None else _written(root, log, is_listed=True),
        frame_rate=_frame_rate(log, rows[0][1].format.sample_rate),
        notes=tuple(notes),
    )


def _frame_rate(log: Path | None, sample_rate: int) -> str | None:
    """Return the frame rate that a log's messages speak of, or None."""
    if log is None:
        return None
    try:
        with InputFile(log) as file:
            code = _rate_code(read_log(file, sample_rate))
    except CaptureError:
        return None
    return None if code is None else RATES_BY_CODE[code]


def _rate_code(log: MidiLog) -> int | None:
    if log.rate_codes.size:
        return int(log.rate_codes[0])
    return log.full_frames[0].rate_code if log.full_frames else None
