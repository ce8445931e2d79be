"""The events of a Standard MIDI File: chunks, delta times, tempo, and the messages that matter for timecode.

A file is read with care for what recorders really write: system exclusive in several packets, F7 escapes with
one message or several, quarter frames as plain F1 events (not allowed by the standard, yet common; tolerated and
told), running status, several tracks, unknown chunks, and an end that was cut off. A track is used up to the
place where it stops making sense, since a delta time that cannot be trusted spoils every later time.

Source: Standard MIDI Files 1.0 (RP-001): chunks, variable-length quantities, sysex and meta events.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assembler.errors import TimecodeLogError
from assembler.timecode.logs.messages import QUARTER_FRAME, SYSEX_END, SYSEX_START, Collector

if TYPE_CHECKING:
    from collections.abc import Callable

_META: Final = 0xFF
_META_TEMPO: Final = 0x51
_META_END_OF_TRACK: Final = 0x2F
# Data bytes of channel messages by the upper half of the status byte, then of plain system messages.
_CHANNEL_LENGTH: Final = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}
_SYSTEM_LENGTH: Final = {0xF2: 2, 0xF3: 1}
# A file with more tempo changes, or more damaged places, is no log; the bounds keep time and memory small.
_MOST_TEMPOS: Final = 100_000
_MOST_DAMAGED: Final = 1000
# Delta times and lengths have at most four bytes.
_LONGEST_QUANTITY: Final = 4


class _DamageError(Exception):
    """The track stops making sense at this byte."""

    def __init__(self, what: str, place: int) -> None:
        super().__init__(what)
        self.what = what
        self.place = place


@dataclass
class FileEvents:
    """What the tracks of one file hold, in ticks.

    Args:
        division: the header's division word, 0 to 65535.
        collected: messages of all tracks.
        tempos: (tick, microseconds per quarter note) of all tracks, in file order.
        damage: one plain sentence for each place where reading had to stop.
        plain_quarters: how many quarter frames stood as plain F1 events.
    """

    division: int
    collected: Collector = field(default_factory=Collector)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    damage: list[str] = field(default_factory=list)
    plain_quarters: int = 0


def read_events(data: bytes) -> FileEvents:
    """Return what the tracks of a Standard MIDI File hold.

    Raises:
        TimecodeLogError: the bytes do not begin with a usable header, or hold more than any log does.
    """
    if data[:4] != b"MThd":
        raise TimecodeLogError("not a Standard MIDI File (it does not begin with MThd)", place="byte 0")
    header_length = int.from_bytes(data[4:8], "big")
    if len(data) < 14 or header_length < 6:
        raise TimecodeLogError("the header of the Standard MIDI File is cut short", place="byte 8")
    events = FileEvents(division=int.from_bytes(data[12:14], "big"))
    start = 8 + header_length
    while start < len(data) and len(events.damage) < _MOST_DAMAGED:
        size = int.from_bytes(data[start + 4 : start + 8], "big")
        end = start + 8 + size
        if len(data) < start + 8 or end > len(data):
            events.damage.append(f"the file is cut off in the chunk at byte {start}")
            end = len(data)
        elif (
            data[start : start + 4] == b"MTrk" and end < len(data) and not _is_chunk_name(data[end : end + 4])
        ):
            # A recorder writes the length when it stops; until then, and after a crash, it is 0 or of some time ago.
            events.damage.append(f"the track at byte {start} says {size} bytes, and more of it follows")
            end = len(data)
        if data[start : start + 4] == b"MTrk":
            before = len(events.collected.quarter_bytes)
            _Track(data, start + 8, end, events).read()
            events.collected.tracks += len(events.collected.quarter_bytes) > before
        start = end
    return events


def _is_chunk_name(name: bytes) -> bool:
    return all(0x20 <= byte < 0x7F for byte in name)


class _Track:
    """Reads the events of one track chunk, byte by byte."""

    def __init__(self, data: bytes, start: int, end: int, events: FileEvents) -> None:
        self.data = data
        self.place = start
        self.end = end
        self.events = events
        self.tick = 0
        self.running_status = 0
        # An unfinished system exclusive message: where it began, and its bytes so far.
        self.open_sysex: tuple[int, bytes] | None = None
        self.ended = False
        self.readers: dict[int, Callable[[], None]] = {
            _META: self._read_meta,
            SYSEX_START: self._read_sysex,
            SYSEX_END: self._read_escape,
        }

    def read(self) -> None:
        """Read until the end of the track, or until it stops making sense."""
        try:
            while self.place < self.end and not self.ended:
                self._read_event()
                self.events.collected.refuse_too_many()
        except _DamageError as damage:
            told = f"byte {damage.place}: {damage.what}; the track is used up to there"
            self.events.damage.append(told)

    def _read_event(self) -> None:
        delta = self.data[self.place]
        if delta < 0x80:
            # Nearly all are so.
            self.place += 1
        else:
            delta = self._quantity()
        self.tick += delta
        status = self._byte()
        if status == QUARTER_FRAME:
            # It neither sets nor uses running status: a channel message may go on after it.
            self.events.collected.add_quarter(self.tick, self._data_byte())
            self.events.plain_quarters += 1
            return
        reader = self.readers.get(status)
        if reader is not None:
            self.running_status = 0
            reader()
        elif status >= SYSEX_START:
            self._skip_data(_SYSTEM_LENGTH.get(status, 0))
        elif status >= 0x80:
            self.running_status = status
            self._skip_data(_CHANNEL_LENGTH[status >> 4])
        elif self.running_status:
            self._skip_data(_CHANNEL_LENGTH[self.running_status >> 4] - 1)
        else:
            raise _DamageError(f"{status:02X} where an event should begin", self.place - 1)

    def _read_meta(self) -> None:
        kind = self._byte()
        payload = self._payload()
        if kind == _META_TEMPO and len(payload) == 3:
            self.events.tempos.append((self.tick, int.from_bytes(payload, "big")))
            if len(self.events.tempos) > _MOST_TEMPOS:
                problem = f"more than {_MOST_TEMPOS} tempo changes: not the log of a tape"
                raise TimecodeLogError(problem, place=f"byte {self.place}")
        elif kind == _META_END_OF_TRACK:
            self.ended = True

    def _read_sysex(self) -> None:
        self._continue_sysex(self.tick, b"", self._payload())

    def _read_escape(self) -> None:
        payload = self._payload()
        # A status byte first can't continue a system exclusive message: that one was never finished.
        continues = self.open_sysex is not None and (payload[:1] < b"\x80" or payload[:1] == b"\xf7")
        if self.open_sysex is not None and continues:
            self._continue_sysex(*self.open_sysex, payload)
        else:
            self.events.collected.add_bytes(self.tick, payload)

    def _continue_sysex(self, tick: int, before: bytes, payload: bytes) -> None:
        self.open_sysex = None
        body = before + payload
        if body.endswith(b"\xf7"):
            self.events.collected.add_sysex(tick, body[:-1])
        elif len(body) < 1024:
            # Longer ones can't be timecode; forgetting them bounds the joining of packets.
            self.open_sysex = (tick, body)

    def _skip_data(self, count: int) -> None:
        for _ in range(count):
            self._data_byte()
        self.events.collected.other_messages += 1

    def _byte(self) -> int:
        if self.place >= self.end:
            raise _DamageError("the track ends inside an event", self.place)
        value = self.data[self.place]
        self.place += 1
        return value

    def _data_byte(self) -> int:
        value = self._byte()
        if value >= 0x80:
            raise _DamageError(f"{value:02X} where a data byte (00 to 7F) should stand", self.place - 1)
        return value

    def _quantity(self) -> int:
        value = 0
        for _ in range(_LONGEST_QUANTITY):
            byte = self._byte()
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise _DamageError("a number of more than four bytes", self.place - _LONGEST_QUANTITY)

    def _payload(self) -> bytes:
        length = self._quantity()
        start = self.place
        if start + length > self.end:
            raise _DamageError("the track ends inside an event", start)
        self.place = start + length
        return self.data[start : self.place]
