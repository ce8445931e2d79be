"""Looking through a folder of captures for a first sheet: what lies where, described for a draft."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.errors import CaptureError, WaveError
from assembler.importer.logs import read_log
from assembler.inputs import InputFile
from assembler.sheet import Draft, DraftPass, natural_key, write_draft
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.timecode import MidiLog
    from assembler.wave import WaveInfo

WAVE_SUFFIXES = (".wav", ".rf64", ".bw64")
MOST_FOLDERS = 2000
RATE_OF_CODE = {0: "24", 1: "25", 2: "29.97df", 3: "30"}
"""Frame rate for each MIDI rate code; code 3 also stands for a 29.97 stripe that drops no labels."""


def draft_sheet(folder: Path) -> str:
    """Return a first sheet for a folder of captures, as TOML text to correct by hand.

    Every folder that holds WAV files is taken for one pass: its mono files are the tracks; a polyphonic file is
    a pass by itself.

    Raises:
        CaptureError: the folder cannot be read.
        SheetError: there is nothing in it.
    """
    if not folder.is_dir():
        raise CaptureError("is not a folder", path=folder)
    passes: list[DraftPass] = []
    for place in _folders(folder):
        passes += _passes_in(folder, place)
    title = folder.resolve().name or "Session"
    return write_draft(Draft(title, tuple(sorted(passes, key=lambda one: natural_key(one.name)))))


def _folders(folder: Path) -> list[Path]:
    found = []
    for count, (place, names, files) in enumerate(os.walk(folder)):
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


def _passes_in(root: Path, place: Path) -> list[DraftPass]:
    names = sorted((entry.name for entry in place.iterdir() if entry.is_file()), key=natural_key)
    log = next(
        (place / name for name in names if Path(name).suffix.lower() in (".mid", ".midi", ".csv")), None
    )
    mono: list[tuple[Path, WaveInfo]] = []
    poly: list[tuple[Path, WaveInfo]] = []
    notes: list[str] = []
    for name in names:
        if Path(name).suffix.lower() not in WAVE_SUFFIXES or name.startswith("."):
            continue
        try:
            with WaveFile(place / name) as file:
                (mono if file.info.format.channels == 1 else poly).append((place / name, file.info))
        except WaveError as error:
            notes.append(f"{name} is left out: {error.problem}")
    drafts = [_pass(root, place, [row], log, notes, Path(row[0]).stem) for row in poly]
    if mono:
        drafts.insert(0, _pass(root, place, mono, log, notes, place.resolve().name))
    return drafts


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
    files = tuple(path.relative_to(root).as_posix() for path, _ in rows)
    whole = len(rows) > 1 and len(rows) == sum(1 for path in place.glob("*.wav") if path.is_file())
    pattern = f"{place.relative_to(root).as_posix()}/*.wav".removeprefix("./") if whole else None
    return DraftPass(
        name=name,
        files=files,
        tracks=tracks,
        sample_rate=rates.pop() if len(rates) == 1 else None,
        bit_depth=depths.pop() if len(depths) == 1 else None,
        pattern=pattern,
        log=None if log is None else log.relative_to(root).as_posix(),
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
    return None if code is None else RATE_OF_CODE.get(code)


def _rate_code(log: MidiLog) -> int | None:
    # The last of the eight quarter frames, 7x, carries the rate code in bits 1 and 2.
    last = log.quarter_data[log.quarter_data >> 4 == 7]
    if last.size:
        return int(last[0]) >> 1 & 3
    return log.full_frames[0].rate_code if log.full_frames else None
