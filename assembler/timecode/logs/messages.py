"""What a timecode log says, whatever file it stood in: quarter frames, full frames, and what was odd.

Source: MIDI 1.0 Detailed Specification, MIDI Time Code: the quarter frame ``F1 0nnndddd`` and the full frame
``F0 7F <device> 01 01 hh mm ss ff F7``, hour byte ``0yyhhhhh`` with yy the rate code.
"""

from __future__ import annotations

import re
from array import array
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from assembler.errors import TimecodeLogError
from assembler.timecode.findings import OTHER_SOURCES, Finding, shorten_findings, tell_damage

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Bytes, Float64s, Int64s

QUARTER_FRAME: Final = 0xF1
SYSEX_START: Final = 0xF0
SYSEX_END: Final = 0xF7
# Four hours of quarter frames and some, twice what the longest tape lasts; the bound keeps time and memory small for
# any input.
_MOST_MESSAGES: Final = 2_000_000
# Later ones say nothing more: a locate is only counted.
_MOST_LOCATES: Final = 100_000
# All bytes of one event have one time, so that those of a longer one say nothing of when the tape was where.
_LONGEST_EVENT: Final = 4096
# Times beyond this cannot belong to a tape: ten days.
_LATEST_SECONDS: Final = 864_000.0

# What comes down a cable, real-time bytes taken out (they may stand inside any other message): a quarter frame, a
# system exclusive message, or the first byte of something else. Other bytes are that message's data, or junk.
_REAL_TIME: Final = bytes(range(0xF8, 0x100))
_CABLE: Final = re.compile(rb"\xF1([\x00-\x7F])|\xF0([\x00-\x7F]*)\xF7|[\x80-\xF6]")


@dataclass(frozen=True)
class FullFrame:
    """A full-frame message: the position a machine was sent to, not running time."""

    seconds: float
    hours: int
    minutes: int
    second: int
    frames: int
    rate_code: int


@dataclass(frozen=True)
class MidiLog:
    """A timecode log.

    Args:
        quarter_seconds: shape (n,), seconds from the pass's first sample, never falling.
        quarter_data: shape (n,), the data byte of each quarter frame, 0 to 127.
        full_frames: in order of time.
        other_messages: how many messages had nothing to do with timecode.
        findings: what was odd about the file.
        tick_seconds: the step that the times were rounded to; 0 where unknown.
    """

    quarter_seconds: Float64s
    quarter_data: Bytes
    full_frames: tuple[FullFrame, ...]
    other_messages: int
    findings: tuple[Finding, ...]
    tick_seconds: float = 0.0

    @property
    def rate_codes(self) -> Bytes:
        """The rate code of each last one of eight quarter frames, which has it in bits 1 and 2."""
        last = self.quarter_data[self.quarter_data >> 4 == 7]
        return np.asarray(last >> 1 & 3, np.uint8)


class Message(NamedTuple):
    """A message and where it stood: ticks, samples or steps of a second, whatever the file counts."""

    time: int | float
    data: bytes


@dataclass
class Collector:
    """Takes messages one by one, in any order, and keeps apart what a timecode log is made of."""

    quarter_times: array[float] = field(default_factory=lambda: array("d"))
    quarter_bytes: bytearray = field(default_factory=bytearray)
    full_frames: list[Message] = field(default_factory=list)
    other_messages: int = 0
    tracks: int = 0
    """How many tracks of a file the quarter frames stood in; 0 for what has no tracks."""

    def add_quarter(self, time: float, data: int) -> None:
        """Take a quarter frame by its data byte."""
        self.quarter_times.append(time)
        self.quarter_bytes.append(data)

    def add_bytes(self, time: float, data: bytes) -> None:
        """Take bytes as they would come down a cable: whole messages, and junk between them."""
        if len(data) == 2 and data[0] == QUARTER_FRAME and data[1] < 0x80:
            # Nearly all are so.
            self.add_quarter(time, data[1])
            return
        bare = data[:_LONGEST_EVENT].translate(None, _REAL_TIME)
        self.other_messages += min(len(data), _LONGEST_EVENT) - len(bare)
        for message in _CABLE.finditer(bare):
            quarter, sysex = message.groups()
            if quarter is not None:
                self.add_quarter(time, quarter[0])
            elif sysex is not None:
                self.add_sysex(time, sysex)
            else:
                self.other_messages += 1
        self.refuse_too_many()

    def add_sysex(self, time: float, body: bytes) -> None:
        """Take a system exclusive message without its first and last byte."""
        is_locate = len(body) == 8 and body[0] == 0x7F and body[2:4] == b"\x01\x01"
        if is_locate and len(self.full_frames) < _MOST_LOCATES:
            self.full_frames.append(Message(time, body))
        else:
            self.other_messages += 1

    def refuse_too_many(self) -> None:
        """Refuse a log of more messages than a tape can make.

        Raises:
            TimecodeLogError: there are too many so far.
        """
        if len(self.quarter_bytes) + self.other_messages > _MOST_MESSAGES:
            raise TimecodeLogError(
                f"more than {_MOST_MESSAGES} messages: too many for the log of a tape (4 hours fit)"
            )


def full_frame_record(seconds: float, body: bytes) -> FullFrame:
    """Return the full frame in the body ``7F <device> 01 01 hh mm ss ff`` of a system exclusive message."""
    hours, minutes, second, frames = body[4:8]
    return FullFrame(seconds, hours & 0x1F, minutes, second, frames, hours >> 5 & 0x03)


def make_log(
    collected: Collector,
    seconds: Float64s,
    full_seconds: Float64s,
    findings: Sequence[Finding],
    tick_seconds: float,
) -> MidiLog:
    """Return the log in order of time.

    Args:
        collected: the messages.
        seconds: shape (quarter frames,), the time of each.
        full_seconds: shape (full frames,), the time of each.
        findings: what was odd so far.
        tick_seconds: step of the times.

    Raises:
        TimecodeLogError: there is no timecode in it, or a time is days away.
    """
    _refuse_far_times(np.concatenate((seconds, full_seconds)))
    if not seconds.size and not full_seconds.size:
        others = collected.other_messages
        held = f"{others} messages, but no quarter frame among them" if others else "no messages at all"
        raise TimecodeLogError(f"no timecode in it: it holds {held}{tell_damage(findings)}; {OTHER_SOURCES}")
    told = list(findings)
    order: Int64s = np.argsort(seconds, kind="stable")
    falls = np.flatnonzero(np.diff(seconds) < 0)
    if falls.size:
        told.append(_tell_falls(seconds, falls, collected.tracks))
    fulls = [
        full_frame_record(float(second), message.data)
        for second, message in zip(full_seconds, collected.full_frames, strict=True)
    ]
    return MidiLog(
        quarter_seconds=seconds[order],
        quarter_data=np.frombuffer(bytes(collected.quarter_bytes), dtype=np.uint8)[order],
        full_frames=tuple(sorted(fulls, key=lambda full: full.seconds)),
        other_messages=collected.other_messages,
        findings=shorten_findings(told),
        tick_seconds=tick_seconds,
    )


def _refuse_far_times(seconds: Float64s) -> None:
    if seconds.size and np.abs(seconds).max() > _LATEST_SECONDS:
        worst = float(seconds[np.abs(seconds).argmax()])
        raise TimecodeLogError(f"a time of {worst:.10g} s; allowed: up to {_LATEST_SECONDS:.0f} s")


def _tell_falls(seconds: Float64s, falls: Int64s, tracks: int) -> Finding:
    if tracks > 1:
        text = f"quarter frames stand in {tracks} tracks of the file: merged in order of time"
        return Finding("order", None, text)
    first = int(falls[0])
    before, after = float(seconds[first]), float(seconds[first + 1])
    text = (
        f"log times fall at {falls.size} of {seconds.size} messages, first from {before:.3f} s to {after:.3f} s "
        f"at quarter frame {first + 2}: sorted by time"
    )
    return Finding("order", before, text)
