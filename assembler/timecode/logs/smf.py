"""Timecode logs in Standard MIDI Files: from ticks to seconds.

The general-purpose MIDI library refuses an escape event that carries a quarter frame, takes a plain one for running
status, and reads SMPTE division as a negative number; so files are read here.

Source: Standard MIDI Files 1.0 (RP-001): division word, tempo meta event, 120 beats a minute until the first tempo.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, BinaryIO, Final

import numpy as np

from assembler.errors import TimecodeLogError
from assembler.timecode.findings import Finding
from assembler.timecode.logs.events import FileEvents, read_events
from assembler.timecode.logs.messages import MidiLog, make_log

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Float64s

# Four hours of quarter frames as escape events; more is not a log of a tape, and time and memory stay bounded.
LARGEST_MIDI_BYTES: Final = 9 * 2**20

_DEFAULT_TEMPO: Final = 500_000
# Frames a second by the upper byte of an SMPTE division, a negative number. Readers differ on -29; it names drop
# frame, which runs at 30/1.001.
_SMPTE_RATES: Final = {
    -24: Fraction(24),
    -25: Fraction(25),
    -29: Fraction(30000, 1001),
    -30: Fraction(30),
}
# Steps of the log's clock from here on are worth telling: the example of the standard has 1 ms.
_COARSE_TICK_SECONDS: Final = 0.9e-3


def read_midi_log(stream: BinaryIO, sample_rate: int) -> MidiLog:
    """Return the timecode log in a Standard MIDI File; its time zero is the pass's first sample.

    Args:
        stream: at the file's first byte.
        sample_rate: samples in a second, to tell the size of coarse ticks.

    Raises:
        TimecodeLogError: not a Standard MIDI File, no timecode in it, or more than 9 MiB.
    """
    data = stream.read(LARGEST_MIDI_BYTES + 1)
    if len(data) > LARGEST_MIDI_BYTES:
        limit = LARGEST_MIDI_BYTES // 2**20
        raise TimecodeLogError(f"larger than {limit} MiB: too large for the log of a tape (4 hours fit)")
    events = read_events(data)
    ticks = np.array(events.collected.quarter_times, dtype=np.float64)
    full_ticks = np.array([message.time for message in events.collected.full_frames], dtype=np.float64)
    tick_seconds = _tick_seconds(events)
    findings = _tell_file(events)
    if tick_seconds >= _COARSE_TICK_SECONDS:
        size = f"{1000 * tick_seconds:.3g} ms ({tick_seconds * sample_rate:.0f} samples)"
        findings.append(Finding("coarse_clock", None, f"the log's clock moves in steps of {size}"))
    seconds = _ticks_to_seconds(ticks, events)
    return make_log(events.collected, seconds, _ticks_to_seconds(full_ticks, events), findings, tick_seconds)


def _tell_file(events: FileEvents) -> list[Finding]:
    findings = [Finding("damaged_log", None, text) for text in events.damage]
    if events.plain_quarters:
        text = f"{events.plain_quarters} quarter frames stand as plain F1 events, which the standard does not allow"
        findings.append(Finding("plain_quarter_frames", None, text))
    return findings


def _smpte_tick(division: int) -> float | None:
    """Return the seconds of a tick under SMPTE division; None under ticks per beat."""
    if division < 0x8000:
        return None
    frames = (division >> 8) - 256
    ticks_per_frame = division & 0xFF
    rate = _SMPTE_RATES.get(frames)
    if rate is None or ticks_per_frame == 0:
        allowed = "-24, -25, -29 or -30 frames a second and at least 1 tick a frame"
        found = f"{frames} with {ticks_per_frame} ticks"
        raise TimecodeLogError(f"SMPTE division {found}; allowed: {allowed}", place="byte 12")
    return float(1 / (rate * ticks_per_frame))


def _tempo_map(tempos: Sequence[tuple[int, int]], ticks_per_beat: int) -> tuple[Float64s, Float64s, Float64s]:
    """Return for each stretch of one tempo its first tick, the seconds there, and the seconds of a tick."""
    by_tick = {0: _DEFAULT_TEMPO}
    # The last one at a tick counts; a tempo of zero would stop time and can only be damage.
    by_tick.update({tick: tempo for tick, tempo in sorted(tempos, key=lambda pair: pair[0]) if tempo > 0})
    starts = np.array(list(by_tick), dtype=np.float64)
    tick_seconds = np.array(list(by_tick.values()), dtype=np.float64) / (1e6 * ticks_per_beat)
    seconds = np.concatenate(([0.0], np.cumsum(np.diff(starts) * tick_seconds[:-1])))
    return starts, seconds, tick_seconds


def _ticks_to_seconds(ticks: Float64s, events: FileEvents) -> Float64s:
    smpte = _smpte_tick(events.division)
    if smpte is not None:
        return np.asarray(ticks * smpte, dtype=np.float64)
    starts, seconds, tick_seconds = _tempo_map(events.tempos, _ticks_per_beat(events))
    stretch = np.searchsorted(starts, ticks, side="right") - 1
    return np.asarray(seconds[stretch] + (ticks - starts[stretch]) * tick_seconds[stretch], dtype=np.float64)


def _ticks_per_beat(events: FileEvents) -> int:
    if events.division == 0:
        raise TimecodeLogError("division 0: no ticks in a beat; allowed: 1 and up", place="byte 12")
    return events.division


def _tick_seconds(events: FileEvents) -> float:
    """Return the usual step of the log's clock: that of the tempo which holds most quarter frames."""
    smpte = _smpte_tick(events.division)
    if smpte is not None:
        return smpte
    starts, _, tick_seconds = _tempo_map(events.tempos, _ticks_per_beat(events))
    ticks = np.array(events.collected.quarter_times, dtype=np.float64)
    if not ticks.size:
        return float(tick_seconds[0])
    stretch = np.searchsorted(starts, ticks, side="right") - 1
    return float(tick_seconds[np.bincount(stretch).argmax()])
