"""MIDI timecode decoded: from quarter frames to points that say when the tape was where.

Eight quarter frames tell one *reading*: the frame at whose beginning the first of them was sent. Pieces follow each
other four to a frame, so piece k of a reading was sent k/4 frame after it. A reading is believed if its neighbours
continue it; then every piece that the readings explain gives a point. Where messages are missing, the pieces' numbers
and their times tell how many.

A tape that runs backwards sends its pieces in falling order, 7 to 0. Such readings are listed with their place but give
no points: the standard leaves open which frame they name, and a digital tape that runs backwards gives no sound.

Source: MIDI 1.0 Detailed Specification, MIDI Time Code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.arrays import median
from assembler.errors import TimecodeLogError
from assembler.timecode.findings import Finding, shorten_findings
from assembler.timecode.labels import (
    format_label,
    frames_to_labels,
    labels_exist,
    labels_to_frames,
)
from assembler.timecode.mtc.counting import find_minutes, tell_contradiction, tell_count, weigh_count
from assembler.timecode.mtc.readings import (
    PIECES,
    assemble_readings,
    confirm_readings,
    count_steps,
    drop_echoes,
    link_messages,
    origins_of,
)
from assembler.timecode.mtc.words import explain_nothing, tell_locates, tell_refused
from assembler.timecode.rates import RATES_BY_CODE

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int64s
    from assembler.timecode.logs.messages import MidiLog
    from assembler.timecode.mtc.counting import Count
    from assembler.timecode.mtc.readings import Messages, Readings
    from assembler.timecode.rates import FrameRate

_READING_FRAMES: Final = 2
_CODES_OF_30: Final = (2, 3)
_NAME_OF_CODE: Final = ("24", "25", "30 drop frame", "30")
# Reverse motion in fewer messages than this is disorder, not motion.
_LEAST_REVERSE: Final = 8
# How many messages are explained at once.
_PART: Final = 1 << 18
# A log whose messages come faster or slower than this by its own times counts in other units than it says.
_MOST_SPEED: Final = 2.5


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
        two_sided: whether points err both ways, as those of a stripe do; else they are late, never early.
        common_error_seconds: standard deviation of what all points of a two-sided log may be off by alike.
        count: what the log shows of whether it drops frames; None if that was not looked at.
    """

    seconds: Float64s
    frames: Float64s
    rate_code: int | None
    heard: int
    reverse_seconds: float
    tick_seconds: float
    findings: tuple[Finding, ...]
    two_sided: bool = False
    common_error_seconds: float = 0.0
    count: Count | None = None


def decode_quarter_frames(log: MidiLog, rate: FrameRate) -> TimecodePoints:
    """Return the points that a log's quarter frames give.

    Args:
        log: as read from a file.
        rate: how the sheet says that timecode counts; what the log says otherwise is reported.

    Raises:
        TimecodeLogError: no usable timecode: none that runs forward, or labels that the rate does not have.
    """
    _refuse_other_units(log, rate)
    seconds, data, findings = drop_echoes(log, rate)
    steps = count_steps(seconds, (data >> 4).astype(np.int64), rate)
    messages = link_messages(data, steps)
    readings = assemble_readings(messages)
    exist = labels_exist(readings.labels, rate)
    reverse_seconds, told = _tell_reverse(seconds, link_messages(data[::-1], -steps[::-1]), rate)
    findings += told
    believed = readings.take(exist)
    believed = believed.take(confirm_readings(believed, rate))
    if not believed.start.size:
        raise TimecodeLogError(explain_nothing(log, readings, reverse_seconds, rate))
    code = int(np.bincount(believed.code, minlength=4).argmax())
    count, told = _weigh_count(readings, seconds, code, rate)
    findings += told
    findings += tell_refused(readings.start.size - believed.start.size)
    findings += tell_locates(log, float(seconds[believed.start[0]]))
    index, quarters = _explain_pieces(messages, believed, rate)
    return TimecodePoints(
        seconds=seconds[index],
        frames=_run_on(quarters, rate) / 4.0,
        rate_code=code,
        heard=int(log.quarter_data.size),
        reverse_seconds=reverse_seconds,
        tick_seconds=log.tick_seconds,
        findings=shorten_findings([*log.findings, *findings]),
        count=count,
    )


def _refuse_other_units(log: MidiLog, rate: FrameRate) -> None:
    """Refuse a log whose messages nowhere come at a speed that a machine has."""
    readings = log.quarter_seconds[PIECES:] - log.quarter_seconds[:-PIECES]
    usual = PIECES / (4 * float(rate.exact))
    if readings.size and not np.any((readings > usual / _MOST_SPEED) & (readings < usual * _MOST_SPEED)):
        raise TimecodeLogError(
            f"eight messages take {median(readings):.3g} s, at rate {rate.name} it should be {usual:.3g} s: "
            "are its times in other units (column, division, tempo)?"
        )


def _explain_pieces(messages: Messages, believed: Readings, rate: FrameRate) -> tuple[Int64s, Int64s]:
    """Return the messages that believed readings explain, and their place in quarters of a frame in the day.

    A piece outside a whole reading is explained by the believed readings on both sides of it in its run if they
    agree, or by the only one there is, and if its data is what a tape that runs on there would send.
    """
    origins = origins_of(believed, rate)
    # Part by part: all at once would take hundreds of megabytes for a log of some hours.
    parts = [
        _explain_part(
            messages, believed, origins, np.arange(start, min(start + _PART, messages.data.size)), rate
        )
        for start in range(0, messages.data.size, _PART)
    ]
    index, quarters = (np.concatenate(arrays) for arrays in zip(*parts, strict=True))
    return index, quarters


def _explain_part(
    messages: Messages, believed: Readings, origins: Int64s, index: Int64s, rate: FrameRate
) -> tuple[Int64s, Int64s]:
    run, place = messages.run[index], messages.place[index]
    before = np.searchsorted(believed.start, index, side="right") - 1
    after = np.minimum(before + 1, believed.start.size - 1)
    has_before = (before >= 0) & (believed.run[before] == run)
    has_after = (believed.start[after] > index) & (believed.run[after] == run)
    nearest = np.where(has_before, before, after)
    inside = place - believed.place[nearest] < PIECES
    agreed = ~has_before | ~has_after | (origins[before] == origins[after]) | inside
    day = 4 * rate.frames_per_day
    quarters = (origins[nearest] + place) % day
    piece = (place - believed.place[nearest]) % PIECES
    expected = piece << 4 | _nibbles((quarters - piece) % day // 4, piece, believed.code[nearest], rate)
    chosen = np.flatnonzero((has_before | has_after) & agreed & (messages.data[index] == expected))
    return index[chosen], quarters[chosen]


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


def _tell_reverse(seconds: Float64s, mirrored: Messages, rate: FrameRate) -> tuple[float, list[Finding]]:
    """Return how long the tape ran backwards, with a finding for each stretch.

    Args:
        seconds: shape (n,), log time of each message.
        mirrored: the messages last first, as a tape that ran forward would have sent them.
        rate: how timecode counts.
    """
    lengths = np.bincount(mirrored.run) if mirrored.run.size else np.zeros(0, dtype=np.int64)
    ends = np.cumsum(lengths)
    readings = assemble_readings(mirrored)
    readings = readings.take(labels_exist(readings.labels, rate))
    findings: list[Finding] = []
    total = 0.0
    for run in np.flatnonzero(lengths >= _LEAST_REVERSE)[::-1]:
        first, last = mirrored.run.size - ends[run], mirrored.run.size - 1 - (ends[run] - lengths[run])
        length = float(seconds[last] - seconds[first])
        total += length
        frames = labels_to_frames(readings.labels.take(readings.run == run), rate)
        where = ""
        if frames.size:
            where = (
                f", from about {format_label(int(frames[-1]), rate)} to {format_label(int(frames[0]), rate)}"
            )
        text = f"the tape ran backwards for {length:.2f} s{where}; not used"
        findings.append(Finding("reverse", float(seconds[first]), text))
    return total, findings


def _weigh_count(
    readings: Readings, seconds: Float64s, code: int, rate: FrameRate
) -> tuple[Count, list[Finding]]:
    """Return how rate code and labels count against the sheet, with what is to be reported of it."""
    follows = (np.diff(readings.place) == PIECES) & (np.diff(readings.run) == 0)
    minutes = find_minutes(readings.labels, follows, _READING_FRAMES, seconds[readings.start])
    says = f"the log's rate code is {code} ({_NAME_OF_CODE[code]})"
    agrees = RATES_BY_CODE[code] == ("30" if rate.name == "29.97" else rate.name)
    # Whether frames are dropped is no question of another code, and its speed was held against the sheet's.
    is_asked = not agrees and code in _CODES_OF_30
    count = weigh_count(minutes, says if is_asked else None, rate)
    told = [] if agrees or is_asked else [tell_contradiction(says, rate)]
    return count, [*told, *tell_count(count, rate)]
