"""From a pass's own position source to a place on the timeline: log, fixed start, or broadcast extension."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.arrays import median
from assembler.errors import CaptureError, TimecodeError, TimecodeLogError
from assembler.importer.logs import read_log
from assembler.importer.position import Position
from assembler.importer.settling import LoggedClock
from assembler.inputs import InputFile
from assembler.known import NOTHING
from assembler.sheet import find_timecode, sheet_error
from assembler.timecode import (
    Finding,
    day_samples,
    decode_quarter_frames,
    draft_clock,
    frame_rate,
    frame_to_sample,
    parse_label,
    parse_offset,
)
from assembler.timecode.ltc import decode_ltc, ltc_points
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import ExitStack
    from pathlib import Path

    from assembler.arrays import Int32s
    from assembler.importer.audio import PassAudio
    from assembler.known import Known
    from assembler.sheet import Pass, Reel, Sheet
    from assembler.timecode import ClockDraft, FrameRate, MidiLog, TimecodePoints

STRIPE_BLOCK = 1 << 18

FASTEST_STRIPE = 384_000
"""Twice the fastest rate of a session: what is laid out for a second of sound takes memory by this rate."""

LABEL_TOLERANCE = 0.01
"""Sample rates in use lie further apart than this; pull-down and clocks move one by less."""

RATE_TOLERANCE = 0.02
"""Between 24 and 25 frames a second lies a twenty-fifth: half of that tells them apart."""

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
    offset = _offset_samples(sheet, reel)
    if kind == "audio":
        return Position("audio", 0.0, 0.0), None
    if kind == "start":
        return _start_position(sheet, str(one.timecode.value), offset), None
    if kind == "bext":
        return _bext_position(sheet, audio, offset), None
    session = sheet.session
    asked = session.sample_rate, session.frame_rate, session.timecode_delay_ms, one, offset, audio.sample_rate
    if kind == "ltc_track":
        track = int(one.timecode.value or 0) - 1
        return known.recall(
            "stripe", (*asked, audio), lambda: _track_stripe_position(sheet, one, audio, track, offset)
        ), None
    log = find_timecode(sheet, one)
    if log is not None and log.suffix.lower() == ".wav":
        stripe = opened.enter_context(WaveFile(log))
        return known.recall(
            "stripe",
            (*asked, stripe.source),
            lambda: _file_stripe_position(sheet, one, stripe, audio.sample_rate, offset),
        ), stripe.source
    if log is None:
        problem = (
            f"found no timecode log beside the audio of {one.name}; allowed: a .mid or .csv log, "
            '{ start = "hh:mm:ss:ff" }, "bext" or "audio"'
        )
        raise sheet_error(sheet, one, "timecode", problem)
    source = _open_log(log, opened)
    return known.recall(
        "log", (*asked, source), lambda: _log_position(sheet, one, source, audio.sample_rate, offset)
    ), source


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


def _bext_position(sheet: Sheet, audio: PassAudio, offset: int) -> Position:
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
    most = 2 * day_samples(frame_rate(sheet.session.frame_rate), sheet.session.sample_rate)
    if references[0] >= most:
        problem = (
            f"time reference {references[0]}; allowed: samples since midnight, less than {most} (two days)"
        )
        raise CaptureError(problem, path=audio.files[0].path)
    return Position("bext", references[0] + offset, 1.0)


@dataclass(frozen=True)
class _Stripe:
    """A recording of the timecode signal: where it is, the rate it is labelled with, its length and its samples."""

    path: Path
    sample_rate: int
    length: int
    read: Callable[[int, int], Int32s]

    def blocks(self) -> Iterator[Int32s]:
        """Yield the samples in order."""
        for start in range(0, self.length, STRIPE_BLOCK):
            yield self.read(start, min(STRIPE_BLOCK, self.length - start))


def _track_stripe_position(sheet: Sheet, one: Pass, audio: PassAudio, track: int, offset: int) -> LoggedClock:
    """Return what linear timecode on one of the tape's own tracks says."""

    def read(start: int, count: int) -> Int32s:
        return audio.read(track, start, count)

    stripe = _Stripe(audio.path(track), audio.sample_rate, audio.track_lengths[track], read)
    return _stripe_position(sheet, one, stripe, audio.sample_rate, offset)


def _file_stripe_position(
    sheet: Sheet, one: Pass, file: WaveFile, header_rate: int, offset: int
) -> LoggedClock:
    """Return what linear timecode in a file of its own says."""
    info = file.info
    if info.format.channels != 1:
        raise CaptureError(f"has {info.format.channels} channels; a timecode recording has 1", path=file.path)

    if info.format.sample_rate > FASTEST_STRIPE:
        allowed = f"up to {FASTEST_STRIPE} Hz in a timecode recording"
        problem = f"header says {info.format.sample_rate} Hz; allowed: {allowed}"
        raise CaptureError(problem, path=file.path)

    def read(start: int, count: int) -> Int32s:
        return file.read(start, count)[:, 0]

    stripe = _Stripe(file.path, info.format.sample_rate, info.frames, read)
    return _stripe_position(sheet, one, stripe, header_rate, offset)


def _stripe_position(sheet: Sheet, one: Pass, stripe: _Stripe, header_rate: int, offset: int) -> LoggedClock:
    """Return what linear timecode says.

    A stripe that was recorded beside the tracks shares their clock, and so their wrong label where it is wrong. One
    whose label is another may have a wrong one of its own: that is reported, and put right where the sheet asks.

    Args:
        sheet: for its rates.
        one: the pass.
        stripe: its timecode signal.
        header_rate: the rate that the pass's own files are labelled with.
        offset: samples that the reel's timecode is offset by.
    """
    rate = sheet.session.sample_rate
    if stripe.sample_rate == header_rate:
        return LoggedClock(
            "ltc", _draft_stripe(sheet, one, stripe, rate if one.relabel else header_rate), offset
        )
    draft = _draft_stripe(sheet, one, stripe, stripe.sample_rate)
    if abs(draft.ratio * stripe.sample_rate / rate - 1.0) > LABEL_TOLERANCE or stripe.sample_rate == rate:
        return LoggedClock("ltc", draft, offset)
    label = f"the header of {stripe.path.name} says {stripe.sample_rate} Hz"
    if one.relabel:
        told = Finding("relabelled", None, f"{label}; samples taken as {rate} Hz as the sheet asks")
        draft = _draft_stripe(sheet, one, stripe, rate)
        return LoggedClock("ltc", replace(draft, findings=(*draft.findings, told)), offset)
    text = (
        f"{label}, the sheet {rate} Hz, and its timecode runs as it does at {rate} Hz: only the beginning of the pass "
        "is in its place. If the header is wrong, set relabel = true on the pass"
    )
    others = [one for one in draft.findings if one.kind not in ("mislabelled", "not_clocked")]
    return LoggedClock("ltc", replace(draft, findings=(*others, Finding("mislabelled", None, text))), offset)


def _draft_stripe(sheet: Sheet, one: Pass, stripe: _Stripe, sample_rate: int) -> ClockDraft:
    session = sheet.session
    rate = frame_rate(session.frame_rate)
    try:
        points = ltc_points(decode_ltc(stripe.blocks(), sample_rate, rate))
        return draft_clock(points, rate, session.sample_rate, delay_seconds=_delay_seconds(sheet, one))
    except TimecodeLogError as error:
        raise TimecodeLogError(error.problem, path=stripe.path, place=error.place) from error
    except TimecodeError as error:
        raise TimecodeLogError(str(error), path=stripe.path) from error


def _delay_seconds(sheet: Sheet, one: Pass) -> float:
    own = one.timecode_delay_ms
    return (sheet.session.timecode_delay_ms if own is None else own) / 1000


def _open_log(path: Path, opened: ExitStack) -> InputFile:
    try:
        return opened.enter_context(InputFile(path))
    except CaptureError as error:
        raise TimecodeLogError(error.problem, path=path) from error


def _log_position(sheet: Sheet, one: Pass, log: InputFile, header_rate: int, offset: int) -> LoggedClock:
    """Return what a MIDI log says.

    A recorder that labels its files wrongly may reckon its log's times from the same wrong rate: where the pass is
    relabelled and the log is off by just that, its times are put right too.
    """
    session = sheet.session
    rate = frame_rate(session.frame_rate)
    try:
        midi_log = read_log(log, session.sample_rate)
        _check_rate(midi_log, rate)
        points = decode_quarter_frames(midi_log, rate)
        delay = _delay_seconds(sheet, one)
        draft = draft_clock(points, rate, session.sample_rate, delay_seconds=delay)
        if one.relabel and draft.known_ratio == session.sample_rate / header_rate != 1.0:
            points = _rescale(points, header_rate / session.sample_rate)
            draft = draft_clock(points, rate, session.sample_rate, delay_seconds=delay)
    except CaptureError as error:
        raise TimecodeLogError(error.problem, path=log.path, place=error.place) from error
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
    told = NOMINAL_OF_CODE[int(median(codes))]
    # Over whole readings, so that lateness hardly counts.
    eights = log.quarter_seconds[8:] - log.quarter_seconds[:-8]
    playing = median(eights[eights > 0]) if np.any(eights > 0) else 0.0
    measured = 2.0 / playing if playing else 0.0
    if told != rate.nominal and abs(measured / rate.nominal - 1.0) > RATE_TOLERANCE:
        raise TimecodeLogError(
            f"the messages say {told} frames a second (and come at about {measured:.1f}), the sheet's frame_rate says "
            f"{rate.name}; allowed: the rate that the tape was striped with"
        )
