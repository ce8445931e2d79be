"""From a pass's own position source to a place on the timeline: log, fixed start, or broadcast extension."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.errors import CaptureError, TimecodeLogError
from assembler.importer.position import CoarseSlip, Position
from assembler.sheet import find_timecode, sheet_error
from assembler.timecode import (
    decode_quarter_frames,
    fit_clock,
    frame_rate,
    frame_to_sample,
    parse_label,
    parse_offset,
    read_csv_log,
    read_midi_log,
)

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.importer.audio import PassAudio
    from assembler.sheet import Pass, Reel, Sheet
    from assembler.timecode import ClockFit

BY_HAND_FRAMES = 0.5
"""A place given as a label is meant to the frame: half a frame either way."""


def find_position(sheet: Sheet, one: Pass, reel: Reel, audio: PassAudio) -> tuple[Position, Path | None]:
    """Return where the pass's own source puts it, and the log that was read.

    Raises:
        SheetError: no source can be found, or one that is not known yet was asked for.
        CaptureError: the source holds no position.
    """
    kind = one.timecode.kind
    if kind in ("ltc", "ltc_track"):
        problem = (
            'linear timecode is not read yet; allowed: a .mid or .csv log, { start = "…" }, "bext" or "audio"'
        )
        raise sheet_error(sheet, one, "timecode", problem)
    offset = _offset_samples(sheet, reel)
    if kind == "audio":
        return Position("audio", 0.0, 0.0), None
    if kind == "start":
        return _start_position(sheet, str(one.timecode.value), offset), None
    if kind == "bext":
        return _bext_position(audio, offset), None
    log = find_timecode(sheet, one)
    if log is None:
        problem = (
            f"found no timecode log beside the audio of {one.name}; allowed: a .mid or .csv log, "
            '{ start = "hh:mm:ss:ff" }, "bext" or "audio"'
        )
        raise sheet_error(sheet, one, "timecode", problem)
    return _log_position(sheet, one, log, offset), log


def _offset_samples(sheet: Sheet, reel: Reel) -> int:
    if reel.timecode_offset is None:
        return 0
    rate = frame_rate(sheet.session.frame_rate)
    frames = parse_offset(reel.timecode_offset, rate)
    samples = frame_to_sample(abs(frames), rate, sheet.session.sample_rate)
    return samples if frames >= 0 else -samples


def _start_position(sheet: Sheet, label: str, offset: int) -> Position:
    rate = frame_rate(sheet.session.frame_rate)
    sample = frame_to_sample(parse_label(label, rate), rate, sheet.session.sample_rate)
    doubt = BY_HAND_FRAMES * sheet.session.sample_rate / float(rate.exact)
    return Position("start", sample + offset, doubt)


def _bext_position(audio: PassAudio, offset: int) -> Position:
    references = []
    for file in audio.files:
        if file.info.bext is None:
            raise CaptureError(
                "has no bext chunk to take the position from; use a timecode log or { start = … }",
                path=file.path,
            )
        references.append(file.info.bext.time_reference)
    if len(set(references)) > 1:
        raise CaptureError(
            f"time reference {max(references)} differs from {min(references)} in another file of the same pass",
            path=audio.files[references.index(max(references))].path,
        )
    return Position("bext", references[0] + offset, 1.0)


def _log_position(sheet: Sheet, one: Pass, log: Path, offset: int) -> Position:
    session = sheet.session
    rate = frame_rate(session.frame_rate)
    delay_ms = session.timecode_delay_ms if one.timecode_delay_ms is None else one.timecode_delay_ms
    read = read_csv_log if log.suffix.lower() == ".csv" else read_midi_log
    try:
        with log.open("rb") as stream:
            points = decode_quarter_frames(read(stream, session.sample_rate), rate)
        clock = fit_clock(points, rate, session.sample_rate, delay_seconds=delay_ms / 1000)
    except TimecodeLogError as error:
        raise TimecodeLogError(error.problem, path=log, place=error.place) from error
    except OSError as error:
        raise TimecodeLogError(f"cannot be read: {error.strerror}", path=log) from error
    return _clock_position(clock, offset, session.sample_rate)


def _clock_position(clock: ClockFit, offset: int, sample_rate: int) -> Position:
    first = clock.stretches[0]
    slips = []
    for before, after in zip(clock.stretches, clock.stretches[1:], strict=False):
        change = after.shift_samples - before.shift_samples
        place = 0.5 * (before.log_end + after.log_start)
        error = 2.0 * (before.uncertainty_samples**2 + after.uncertainty_samples**2) ** 0.5
        slips.append(CoarseSlip(round(place * sample_rate), round(change), error))
    return Position("mtc", first.shift_samples + offset, first.uncertainty_samples, tuple(slips), clock)
