"""From a pass's own position source to a place on the timeline: log, fixed start, or broadcast extension."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.errors import CaptureError, TimecodeError, TimecodeLogError
from assembler.importer.position import Position
from assembler.importer.settling import LoggedClock
from assembler.sheet import find_timecode, sheet_error
from assembler.timecode import (
    decode_quarter_frames,
    draft_clock,
    frame_rate,
    frame_to_sample,
    parse_label,
    parse_offset,
    read_csv_log,
    read_midi_log,
)
from assembler.timecode.ltc import decode_ltc, ltc_points
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from assembler.arrays import Int32s
    from assembler.importer.audio import PassAudio
    from assembler.sheet import Pass, Reel, Sheet
    from assembler.timecode import FrameRate, MidiLog, TimecodePoints

STRIPE_BLOCK = 1 << 18

RATE_TOLERANCE = 0.02
"""Between 24 and 25 frames a second lies a twenty-fifth: half of that tells them apart."""

BY_HAND_FRAMES = 0.5
"""A place given as a label is meant to the frame: half a frame either way."""


def find_position(
    sheet: Sheet, one: Pass, reel: Reel, audio: PassAudio
) -> tuple[Position | LoggedClock, Path | None]:
    """Return where the pass's own source puts it, and the log that was read.

    Raises:
        SheetError: no source can be found, or one that is not known yet was asked for.
        CaptureError: the source holds no position.
    """
    kind = one.timecode.kind
    offset = _offset_samples(sheet, reel)
    if kind == "audio":
        return Position("audio", 0.0, 0.0), None
    if kind == "start":
        return _start_position(sheet, str(one.timecode.value), offset), None
    if kind == "bext":
        return _bext_position(audio, offset), None
    if kind == "ltc_track":
        return _stripe_position(
            sheet, one, _track_stripe(audio, int(one.timecode.value or 0) - 1), offset
        ), None
    log = find_timecode(sheet, one)
    if log is not None and log.suffix.lower() == ".wav":
        return _file_stripe_position(sheet, one, log, offset), log
    if log is None:
        problem = (
            f"found no timecode log beside the audio of {one.name}; allowed: a .mid or .csv log, "
            '{ start = "hh:mm:ss:ff" }, "bext" or "audio"'
        )
        raise sheet_error(sheet, one, "timecode", problem)
    return _log_position(sheet, one, log, audio.sample_rate, offset), log


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


@dataclass(frozen=True)
class _Stripe:
    """A recording of the timecode signal: where it is, its rate and its samples in blocks."""

    path: Path
    sample_rate: int
    blocks: Iterable[Int32s]


def _track_stripe(audio: PassAudio, track: int) -> _Stripe:
    """Return the stripe that stands on one of the tape's own tracks."""
    length = audio.track_lengths[track]
    blocks = (
        audio.read(track, start, min(STRIPE_BLOCK, length - start))
        for start in range(0, length, STRIPE_BLOCK)
    )
    return _Stripe(audio.path(track), audio.sample_rate, blocks)


def _file_stripe_position(sheet: Sheet, one: Pass, path: Path, offset: int) -> LoggedClock:
    with WaveFile(path) as file:
        info = file.info
        if info.format.channels != 1:
            raise CaptureError(f"has {info.format.channels} channels; a timecode recording has 1", path=path)
        blocks = (
            file.read(start, min(STRIPE_BLOCK, info.frames - start))[:, 0]
            for start in range(0, info.frames, STRIPE_BLOCK)
        )
        return _stripe_position(sheet, one, _Stripe(path, info.format.sample_rate, blocks), offset)


def _stripe_position(sheet: Sheet, one: Pass, stripe: _Stripe, offset: int) -> LoggedClock:
    """Return what linear timecode says.

    A stripe that was recorded beside the tracks shares their clock, and so their wrong label where it is wrong.
    """
    session = sheet.session
    rate = frame_rate(session.frame_rate)
    sample_rate = session.sample_rate if one.relabel else stripe.sample_rate
    try:
        points = ltc_points(decode_ltc(stripe.blocks, sample_rate, rate))
        draft = draft_clock(points, rate, session.sample_rate, delay_seconds=_delay_seconds(sheet, one))
    except TimecodeLogError as error:
        raise TimecodeLogError(error.problem, path=stripe.path, place=error.place) from error
    return LoggedClock("ltc", draft, offset)


def _delay_seconds(sheet: Sheet, one: Pass) -> float:
    own = one.timecode_delay_ms
    return (sheet.session.timecode_delay_ms if own is None else own) / 1000


def _log_position(sheet: Sheet, one: Pass, log: Path, header_rate: int, offset: int) -> LoggedClock:
    """Return what a MIDI log says.

    A recorder that labels its files wrongly may reckon its log's times from the same wrong rate: where the pass is
    relabelled and the log is off by just that, its times are put right too.
    """
    session = sheet.session
    rate = frame_rate(session.frame_rate)
    read = read_csv_log if log.suffix.lower() == ".csv" else read_midi_log
    try:
        with log.open("rb") as stream:
            midi_log = read(stream, session.sample_rate)
        _check_rate(midi_log, rate)
        points = decode_quarter_frames(midi_log, rate)
        delay = _delay_seconds(sheet, one)
        draft = draft_clock(points, rate, session.sample_rate, delay_seconds=delay)
        if one.relabel and draft.known_ratio == session.sample_rate / header_rate != 1.0:
            points = _rescale(points, header_rate / session.sample_rate)
            draft = draft_clock(points, rate, session.sample_rate, delay_seconds=delay)
    except TimecodeLogError as error:
        raise TimecodeLogError(error.problem, path=log, place=error.place) from error
    except OSError as error:
        raise TimecodeLogError(f"cannot be read: {error.strerror}", path=log) from error
    return LoggedClock("mtc", draft, offset)


def _rescale(points: TimecodePoints, factor: float) -> TimecodePoints:
    return replace(points, seconds=points.seconds * factor, tick_seconds=points.tick_seconds * factor)


NOMINAL_OF_CODE = (24, 25, 30, 30)
"""Frames counted in a second, by MIDI rate code (MIDI Time Code, 1987: 24, 25, 30 drop, 30)."""


def _check_rate(log: MidiLog, rate: FrameRate) -> None:
    """Refuse a log that counts frames otherwise than the sheet says, unless its speed speaks for the sheet.

    Raises:
        TimecodeLogError: both values are in the message.
    """
    codes = log.quarter_data[log.quarter_data >> 4 == 7] >> 1 & 3
    if codes.size < 2:
        return
    told = NOMINAL_OF_CODE[int(np.median(codes))]
    # Over whole readings, so that lateness hardly counts.
    eights = log.quarter_seconds[8:] - log.quarter_seconds[:-8]
    playing = float(np.median(eights[eights > 0])) if np.any(eights > 0) else 0.0
    measured = 2.0 / playing if playing else 0.0
    if told != rate.nominal and abs(measured / rate.nominal - 1.0) > RATE_TOLERANCE:
        raise TimecodeLogError(
            f"the messages say {told} frames a second (and come at about {measured:.1f}), the sheet's frame_rate says "
            f"{rate.name}; allowed: the rate that the tape was striped with"
        )
