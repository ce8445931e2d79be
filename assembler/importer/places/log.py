"""What a MIDI timecode log says: its bytes are read once, digested and decoded."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.arrays import median
from assembler.errors import CaptureError, TimecodeLogError
from assembler.importer.places.settling import LoggedClock
from assembler.timecode import (
    LARGEST_CSV_BYTES,
    RATES_BY_CODE,
    decode_quarter_frames,
    draft_clock,
    frame_rate,
    read_csv_log,
    read_midi_log,
)

if TYPE_CHECKING:
    from assembler.importer.places.position import Asked
    from assembler.inputs import InputFile
    from assembler.timecode import FrameRate, MidiLog, TimecodePoints

RATE_TOLERANCE = 0.02
"""Between 24 and 25 frames a second lies a twenty-fifth: half of that tells them apart."""


def read_log(log: InputFile, sample_rate: int) -> MidiLog:
    """Return the messages of a ``.mid`` or ``.csv`` log; its digest is then that of the bytes they were read from.

    Raises:
        TimecodeLogError: it holds no timecode that can be read.
        CaptureError: the disk fails.
    """
    # Of the two forms text is the longer one; the readers refuse what is larger than theirs may be.
    read = read_csv_log if log.path.suffix.lower() == ".csv" else read_midi_log
    return read(io.BytesIO(log.read_all(LARGEST_CSV_BYTES)), sample_rate)


def log_position(asked: Asked, log: InputFile) -> LoggedClock:
    """Return what a MIDI log says.

    A recorder that labels its files wrongly may reckon its log's times from the same wrong rate: where the pass is
    relabelled and the log is off by just that, its times are put right too.

    Raises:
        TimecodeLogError: it holds no timecode that can be read, or counts frames otherwise than the sheet says.
    """
    rate, sample_rate = asked.frame_rate, asked.session.sample_rate
    try:
        midi_log = read_log(log, sample_rate)
        _check_rate(midi_log, rate)
        points = decode_quarter_frames(midi_log, rate)
        draft = draft_clock(points, rate, sample_rate, delay_seconds=asked.delay_seconds)
        if asked.one.relabel and draft.known_ratio == sample_rate / asked.header_rate != 1.0:
            points = _rescale(points, asked.header_rate / sample_rate)
            draft = draft_clock(points, rate, sample_rate, delay_seconds=asked.delay_seconds)
    except CaptureError as error:
        raise TimecodeLogError(error.problem, path=log.path, place=error.place) from error
    return LoggedClock("mtc", draft, asked.offset)


def _rescale(points: TimecodePoints, factor: float) -> TimecodePoints:
    return replace(points, seconds=points.seconds * factor, tick_seconds=points.tick_seconds * factor)


def _check_rate(log: MidiLog, rate: FrameRate) -> None:
    """Refuse a log that counts frames otherwise than the sheet says, unless its speed speaks for the sheet.

    Raises:
        TimecodeLogError: both values are in the message.
    """
    if log.rate_codes.size < 2:
        return
    told = frame_rate(RATES_BY_CODE[int(median(log.rate_codes))]).nominal
    # Over whole readings, so that lateness hardly counts.
    eights = log.quarter_seconds[8:] - log.quarter_seconds[:-8]
    playing = median(eights[eights > 0]) if np.any(eights > 0) else 0.0
    measured = 2.0 / playing if playing else 0.0
    if told != rate.nominal and abs(measured / rate.nominal - 1.0) > RATE_TOLERANCE:
        raise TimecodeLogError(
            f"the messages say {told} frames a second (and come at about {measured:.1f}), the sheet's frame_rate says "
            f"{rate.name}; allowed: the rate that the tape was striped with"
        )
