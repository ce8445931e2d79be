"""MIDI timecode decoded: from quarter frames to points that say when the tape was where.

Eight quarter frames tell one *reading*: the frame at whose beginning the first of them was sent. Pieces follow each
other four to a frame, so piece k of a reading was sent k/4 frame after it. A reading is believed if its neighbours
continue it; then every piece that the readings explain gives a point.

Source: MIDI 1.0 Detailed Specification, MIDI Time Code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.errors import TimecodeLogError
from assembler.timecode.messages import Finding, MidiLog, shorten_findings
from assembler.timecode.rates import Labels, frames_to_labels, labels_exist, labels_to_frames

if TYPE_CHECKING:
    from assembler.arrays import Bools, Bytes, Float64s, Int64s
    from assembler.timecode.rates import FrameRate

_PIECES: Final = 8
# The rate code each rate is sent with: 29.97 without drop has none of its own and goes as 30.
_CODE_OF_RATE: Final = {"24": 0, "25": 1, "29.97df": 2, "29.97": 3, "30": 3}
_NAME_OF_CODE: Final = ("24", "25", "30 drop frame", "30")
# A message that repeats the one before it sooner than this is an echo; pieces of one number are 8 pieces apart.
_ECHO_QUARTERS: Final = 4.0
# Reverse motion in fewer messages than this is disorder, not motion.
_LEAST_REVERSE: Final = 8


@dataclass(frozen=True)
class TimecodePoints:
    """When the tape was where.

    Args:
        seconds: shape (n,), log time from the pass's first sample, never falling.
        frames: shape (n,), frame and quarters of a frame, running on past midnight.
        rate_code: the code most readings carry; None if none was read.
        heard: how many quarter frames the log holds, used or not.
        reverse_seconds: how long the tape ran backwards.
        tick_seconds: the step that log times were rounded to; 0 where unknown.
        findings: those of the log, and what was odd about its timecode.
    """

    seconds: Float64s
    frames: Float64s
    rate_code: int | None
    heard: int
    reverse_seconds: float
    tick_seconds: float
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class _Readings:
    """Whole readings: the message each begins at, its frame in the day, its run, its rate code."""

    start: Int64s
    frame: Int64s
    run: Int64s
    code: Int64s

    def take(self, chosen: Bools) -> _Readings:
        return _Readings(self.start[chosen], self.frame[chosen], self.run[chosen], self.code[chosen])


def decode_quarter_frames(log: MidiLog, rate: FrameRate) -> TimecodePoints:
    """Return the points that a log's quarter frames give.

    Args:
        log: as read from a file.
        rate: how the sheet says that timecode counts; what the log says otherwise is told.

    Raises:
        TimecodeLogError: no usable timecode: none that runs forward, or labels that the rate does not have.
    """
    seconds, data, findings = _drop_echoes(log, rate)
    piece = (data >> 4).astype(np.int64)
    runs = _number_runs(piece, step=1)
    readings, refused = _assemble(data, piece, runs, rate)
    reverse_seconds, told = _measure_reverse(seconds, piece)
    findings += told
    believed = readings.take(_confirm(readings, rate))
    if not believed.start.size:
        raise TimecodeLogError(_explain_nothing(log, refused, reverse_seconds, rate))
    code = int(np.bincount(believed.code, minlength=4).argmax())
    findings += _tell_code(code, rate) + _tell_refused(refused + readings.start.size - believed.start.size)
    findings += _tell_locates(log, float(seconds[believed.start[0]]))
    index, quarters = _explain_pieces(data, runs, believed, rate)
    return TimecodePoints(
        seconds=seconds[index],
        frames=_run_on(quarters, rate) / 4.0,
        rate_code=code,
        heard=int(log.quarter_data.size),
        reverse_seconds=reverse_seconds,
        tick_seconds=log.tick_seconds,
        findings=shorten_findings([*log.findings, *findings]),
    )


def _drop_echoes(log: MidiLog, rate: FrameRate) -> tuple[Float64s, Bytes, list[Finding]]:
    """Return times and data without messages that came twice."""
    seconds, data = log.quarter_seconds, log.quarter_data
    soon = np.diff(seconds) < _ECHO_QUARTERS / (4 * float(rate.exact))
    echo = np.concatenate(([False], (data[1:] == data[:-1]) & soon)) if data.size else np.zeros(0, np.bool_)
    if not echo.any():
        return seconds, data, []
    place = float(seconds[np.flatnonzero(echo)[0]])
    finding = Finding("repeated", place, f"{int(echo.sum())} quarter frames came twice; each is used once")
    return seconds[~echo], data[~echo], [finding]


def _number_runs(piece: Int64s, *, step: int) -> Int64s:
    """Return for each message the number of its run: pieces that follow each other without a hole."""
    breaks = np.diff(piece) % _PIECES != step % _PIECES
    return np.concatenate(([0], np.cumsum(breaks))).astype(np.int64)[: piece.size]


def _assemble(data: Bytes, piece: Int64s, runs: Int64s, rate: FrameRate) -> tuple[_Readings, int]:
    """Return whole readings whose label exists, and how many had one that does not."""
    start = np.flatnonzero(piece == 0)
    start = start[start + _PIECES <= piece.size]
    start = start[runs[start] == runs[start + _PIECES - 1]]
    nibbles = (data[start[:, None] + np.arange(_PIECES)] & 15).astype(np.int64)
    labels = Labels(
        hours=nibbles[:, 6] | (nibbles[:, 7] & 1) << 4,
        minutes=nibbles[:, 4] | (nibbles[:, 5] & 3) << 4,
        seconds=nibbles[:, 2] | (nibbles[:, 3] & 3) << 4,
        frames=nibbles[:, 0] | (nibbles[:, 1] & 1) << 4,
    )
    exist = labels_exist(labels, rate)
    frame = labels_to_frames(labels, rate)
    readings = _Readings(start, frame, runs[start], nibbles[:, 7] >> 1 & 3)
    return readings.take(exist), int((~exist).sum())


def _origins(readings: _Readings, rate: FrameRate) -> Int64s:
    """Return, in quarters of a frame in the day, where each reading's run would have been at message zero."""
    return (4 * readings.frame - readings.start) % (4 * rate.frames_per_day)


def _confirm(readings: _Readings, rate: FrameRate) -> Bools:
    """Return which readings to believe: those that a neighbour in their run continues, and lone ones."""
    if not readings.start.size:
        return np.zeros(0, dtype=np.bool_)
    origin = _origins(readings, rate)
    agrees = (np.diff(origin) == 0) & (np.diff(readings.run) == 0)
    alone = np.bincount(readings.run)[readings.run] == 1
    return np.asarray(np.append(agrees, [False]) | np.append([False], agrees) | alone, dtype=np.bool_)


def _explain_pieces(data: Bytes, runs: Int64s, believed: _Readings, rate: FrameRate) -> tuple[Int64s, Int64s]:
    """Return the messages that believed readings explain, and their place in quarters of a frame in the day.

    A piece outside a whole reading is explained by the believed reading next to it in its run, if its data is
    what a tape that runs on there would send.
    """
    index = np.arange(data.size)
    before = np.searchsorted(believed.start, index, side="right") - 1
    after = np.minimum(before + 1, believed.start.size - 1)
    before = np.maximum(before, 0)
    nearest = np.where((believed.run[before] == runs) & (believed.start[before] <= index), before, after)
    quarters = (_origins(believed, rate)[nearest] + index) % (4 * rate.frames_per_day)
    piece = (index - believed.start[nearest]) % _PIECES
    expected = _nibbles(
        ((quarters - piece) % (4 * rate.frames_per_day)) // 4, piece, believed.code[nearest], rate
    )
    explained = (believed.run[nearest] == runs) & ((data & 15) == expected)
    chosen = np.flatnonzero(explained)
    return chosen, quarters[chosen]


def _nibbles(frames: Int64s, piece: Int64s, code: Int64s, rate: FrameRate) -> Int64s:
    """Return the data nibble that a piece of a reading carries."""
    labels = frames_to_labels(frames, rate)
    parts = (labels.frames, labels.seconds, labels.minutes, labels.hours | code << 5)
    value = np.choose(piece // 2, parts)
    return np.asarray(np.where(piece % 2 == 0, value & 15, value >> 4), dtype=np.int64)


def _run_on(quarters: Int64s, rate: FrameRate) -> Int64s:
    """Return places that run on past midnight: a fall of more than half a day is a new day, a rise an old one."""
    day = 4 * rate.frames_per_day
    steps = np.diff(quarters)
    turns = (steps < -day // 2).astype(np.int64) - (steps > day // 2)
    days = np.concatenate(([0], np.cumsum(turns)))
    # The first point lies in the first day unless the tape was wound back over midnight.
    return np.asarray(quarters + day * (days - min(0, int(days.min()))), dtype=np.int64)


def _measure_reverse(seconds: Float64s, piece: Int64s) -> tuple[float, list[Finding]]:
    """Return how long the tape ran backwards, with a finding for each stretch."""
    runs = _number_runs(piece, step=-1)
    lengths = np.bincount(runs) if runs.size else np.zeros(0, dtype=np.int64)
    ends = np.cumsum(lengths)
    findings: list[Finding] = []
    total = 0.0
    for run in np.flatnonzero(lengths >= _LEAST_REVERSE):
        start = float(seconds[ends[run] - lengths[run]])
        length = float(seconds[ends[run] - 1]) - start
        total += length
        findings.append(Finding("reverse", start, f"the tape ran backwards for {length:.2f} s; not used"))
    return total, findings


def _explain_nothing(log: MidiLog, refused: int, reverse_seconds: float, rate: FrameRate) -> str:
    cure = "give the pass a start, or bext or audio as its timecode"
    count = int(log.quarter_data.size)
    if not count:
        locates = len(log.full_frames)
        return f"{locates} full-frame messages (locates) but no quarter frame, so time never runs; {cure}"
    if refused:
        return f"{refused} readings, none with a label that exists at rate {rate.name}: check the sheet's frame_rate"
    if reverse_seconds:
        return f"the timecode only runs backwards ({reverse_seconds:.2f} s); {cure}"
    return f"{count} quarter frames, but nowhere eight in a row that make one reading; {cure}"


def _tell_code(code: int, rate: FrameRate) -> list[Finding]:
    if code == _CODE_OF_RATE[rate.name]:
        return []
    text = f"the log says {_NAME_OF_CODE[code]} frames (rate code {code}), the sheet {rate.name}: the sheet is followed"
    return [Finding("rate_code", None, text)]


def _tell_refused(count: int) -> list[Finding]:
    if not count:
        return []
    return [Finding("unread", None, f"{count} readings contradict their neighbours or the rate; not used")]


def _tell_locates(log: MidiLog, running_from: float) -> list[Finding]:
    count = sum(full.seconds <= running_from for full in log.full_frames)
    if not count:
        return []
    text = f"{count} full-frame messages (locates) before timecode ran; a locate is not running time"
    return [Finding("locate", log.full_frames[0].seconds, text)]
