"""What a timecode log says, whatever file it stood in: quarter frames, full frames, and what was odd.

Source: MIDI 1.0 Detailed Specification, MIDI Time Code: the quarter frame ``F1 0nnndddd`` and the full frame
``F0 7F <device> 01 01 hh mm ss ff F7``, hour byte ``0yyhhhhh`` with yy the rate code.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple

import mido
import numpy as np

from assembler.errors import TimecodeLogError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Bytes, Float64s, Int64s

QUARTER_FRAME: Final = 0xF1
SYSEX_START: Final = 0xF0
SYSEX_END: Final = 0xF7

# A log with more findings than this tells the first ones and how many there were.
_MOST_FINDINGS_OF_A_KIND: Final = 20


@dataclass(frozen=True)
class Finding:
    """Something odd that a person should know, and that did not stop the work.

    Args:
        kind: one word for programs, as ``gap``.
        seconds: where in the log, from the pass's first sample; None where no single place is meant.
        text: one plain sentence for people.
    """

    kind: str
    seconds: float | None
    text: str


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


class Message(NamedTuple):
    """A message and where it stood: ticks, samples or steps of a second, whatever the file counts."""

    time: int | float
    data: bytes


@dataclass
class Collector:
    """Takes messages one by one, in any order, and keeps apart what a timecode log is made of."""

    quarter_times: list[int | float] = field(default_factory=list)
    quarter_bytes: bytearray = field(default_factory=bytearray)
    full_frames: list[Message] = field(default_factory=list)
    other_messages: int = 0

    def add_quarter(self, time: float, data: int) -> None:
        """Take a quarter frame by its data byte."""
        self.quarter_times.append(time)
        self.quarter_bytes.append(data)

    def add_bytes(self, time: float, data: bytes) -> None:
        """Take bytes as they would come down a cable: whole messages, and junk between them."""
        # Most escapes hold quarter frames alone; these need no parser, which is slow.
        start = 0
        while len(data) >= start + 2 and data[start] == QUARTER_FRAME and data[start + 1] < 0x80:
            self.add_quarter(time, data[start + 1])
            start += 2
        if start == len(data):
            return
        parser = mido.Parser()
        parser.feed(data[start:])
        for message in parser:
            if message.type == "quarter_frame":
                self.add_quarter(time, message.frame_type << 4 | message.frame_value)
            elif message.type == "sysex":
                self.add_sysex(time, bytes(message.data))
            else:
                self.other_messages += 1

    def add_sysex(self, time: float, body: bytes) -> None:
        """Take a system exclusive message without its first and last byte."""
        if len(body) == 8 and body[0] == 0x7F and body[2:4] == b"\x01\x01":
            self.full_frames.append(Message(time, body))
        else:
            self.other_messages += 1


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
        TimecodeLogError: there is no timecode in it.
    """
    if not seconds.size and not full_seconds.size:
        others = collected.other_messages
        held = f"{others} messages, but no quarter frame among them" if others else "no messages at all"
        raise TimecodeLogError(f"no timecode in it: it holds {held}")
    told = list(findings)
    order: Int64s = np.argsort(seconds, kind="stable")
    if np.any(np.diff(seconds) < 0):
        place = float(seconds[np.flatnonzero(np.diff(seconds) < 0)[0]])
        told.append(Finding("order", place, "messages do not stand in order of time; sorted"))
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


def shorten_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return the findings with at most twenty of a kind, and a last one that says how many are left out."""
    kept: list[Finding] = []
    counts: dict[str, int] = {}
    for finding in findings:
        counts[finding.kind] = counts.get(finding.kind, 0) + 1
        if counts[finding.kind] <= _MOST_FINDINGS_OF_A_KIND:
            kept.append(finding)
    for kind, count in counts.items():
        if count > _MOST_FINDINGS_OF_A_KIND:
            more = count - _MOST_FINDINGS_OF_A_KIND
            kept.append(Finding(kind, None, f"{more} more of this kind"))
    return tuple(kept)
