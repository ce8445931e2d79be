"""From a pass's own position source to a place on the timeline: log, fixed start, or broadcast extension."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.errors import CaptureError, TimecodeError, TimecodeLogError
from assembler.importer.places.log import log_position
from assembler.importer.places.position import Asked, Position
from assembler.importer.places.stripe import file_position, track_position
from assembler.inputs import InputFile
from assembler.known import NOTHING
from assembler.sheet import find_timecode, sheet_error
from assembler.timecode import (
    day_samples,
    frame_rate,
    frame_to_sample,
    parse_label,
    parse_offset,
)
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from contextlib import ExitStack
    from pathlib import Path

    from assembler.importer.audio import PassAudio
    from assembler.importer.places.settling import LoggedClock
    from assembler.known import Known
    from assembler.sheet import Pass, Reel, Sheet

BY_HAND_FRAMES = 0.5
"""A place given as a label is meant to the frame: half a frame either way."""


def find_position(
    sheet: Sheet, one: Pass, reel: Reel, audio: PassAudio, opened: ExitStack, known: Known = NOTHING
) -> tuple[Position | LoggedClock, InputFile | None]:
    """Return where the pass's own source puts it, and the log that was read.

    Args:
        sheet: the session.
        one: the pass.
        reel: the tape it is of.
        audio: its samples.
        opened: closes the log, which stays open until it is known that it was not changed.
        known: what was found out before.

    Raises:
        SheetError: no source can be found, or one that is not known yet was asked for.
        CaptureError: the source holds no position.
    """
    kind = one.timecode.kind
    asked = Asked(sheet.session, one, audio.sample_rate, _offset_samples(sheet, reel))
    if kind == "audio":
        return Position("audio", 0.0, 0.0), None
    if kind == "start":
        return _start_position(asked, str(one.timecode.value)), None
    if kind == "bext":
        return _bext_position(asked, audio), None
    if kind == "ltc_track":
        track = int(one.timecode.value or 0) - 1
        return known.recall("stripe", (*asked.key, audio), lambda: track_position(asked, audio, track)), None
    log = find_timecode(sheet, one)
    if log is not None and log.suffix.lower() == ".wav":
        stripe = opened.enter_context(WaveFile(log))
        return known.recall(
            "stripe", (*asked.key, stripe.source), lambda: file_position(asked, stripe)
        ), stripe.source
    if log is None:
        problem = (
            f"found no timecode log beside the audio of {one.name}; allowed: a .mid or .csv log, "
            '{ start = "hh:mm:ss:ff" }, "bext" or "audio"'
        )
        raise sheet_error(sheet, one, "timecode", problem)
    source = _open_log(log, opened)
    return known.recall("log", (*asked.key, source), lambda: log_position(asked, source)), source


def _offset_samples(sheet: Sheet, reel: Reel) -> int:
    if reel.timecode_offset is None:
        return 0
    rate = frame_rate(sheet.session.frame_rate)
    try:
        frames = parse_offset(reel.timecode_offset, rate)
    except TimecodeError as error:
        raise sheet_error(sheet, reel, "timecode_offset", str(error)) from error
    samples = frame_to_sample(abs(frames), rate, sheet.session.sample_rate)
    return samples if frames >= 0 else -samples


def _start_position(asked: Asked, label: str) -> Position:
    rate, sample_rate = asked.frame_rate, asked.session.sample_rate
    sample = frame_to_sample(parse_label(label, rate), rate, sample_rate)
    return Position("start", sample + asked.offset, BY_HAND_FRAMES * sample_rate / float(rate.exact))


def _bext_position(asked: Asked, audio: PassAudio) -> Position:
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
    # Samples since midnight (EBU Tech 3285); a recorder that ran past midnight may have counted on.
    most = 2 * day_samples(asked.frame_rate, asked.session.sample_rate)
    if references[0] >= most:
        problem = (
            f"time reference {references[0]}; allowed: samples since midnight, less than {most} (two days)"
        )
        raise CaptureError(problem, path=audio.files[0].path)
    return Position("bext", references[0] + asked.offset, 1.0)


def _open_log(path: Path, opened: ExitStack) -> InputFile:
    try:
        return opened.enter_context(InputFile(path))
    except CaptureError as error:
        raise TimecodeLogError(error.problem, path=path) from error
