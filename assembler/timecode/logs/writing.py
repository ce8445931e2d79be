"""Timecode logs written: quarter frames from frames, and Standard MIDI Files from messages.

What reads logs is not used here, so that one can be tried against the other.

Source: MIDI 1.0 Detailed Specification, MIDI Time Code (quarter frame, rate codes); Standard MIDI Files 1.0 (RP-001).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, BinaryIO, Final

import numpy as np

from assembler.errors import TimecodeError
from assembler.timecode.labels import frames_to_labels

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Bytes, Float64s
    from assembler.timecode.rates import FrameRate

# MIDI knows no 29.97 without drop: such a stripe is sent with the code of 30.
RATE_CODES: Final = {"24": 0, "25": 1, "29.97df": 2, "29.97": 3, "30": 3}

# Division words: 960 ticks a beat at 120 beats a minute; 25 frames a second of 40 ticks, which is 1 ms a tick.
TICKS_PER_BEAT_960: Final = 960
MILLISECOND_TICKS: Final = 0xE728

_SMPTE_FRAMES: Final = {0xE8: 24.0, 0xE7: 25.0, 0xE3: 30000 / 1001, 0xE2: 30.0}
_BEATS_PER_SECOND: Final = 2


def encode_quarter_frames(frame: int, rate: FrameRate, rate_code: int | None = None) -> bytes:
    """Return the eight messages, sixteen bytes, that tell one frame.

    Args:
        frame: the frame at whose beginning the first of them is sent; taken modulo 24 hours.
        rate: how it is labelled.
        rate_code: 0 to 3; by default the rate's own.

    >>> encode_quarter_frames(0, FRAME_RATES["30"]).hex(" ", 2)
    'f100 f110 f120 f130 f140 f150 f160 f176'
    """
    data = encode_quarter_stream(4 * frame, 8, rate, rate_code, first_reading=frame)
    return b"".join(bytes((0xF1, byte)) for byte in data.tolist())


def encode_quarter_stream(
    first_quarter: int,
    count: int,
    rate: FrameRate,
    rate_code: int | None = None,
    *,
    first_reading: int = 0,
) -> Bytes:
    """Return the data bytes of quarter frames as a running machine sends them.

    Args:
        first_quarter: the first message's place, in quarters of a frame since 00:00:00:00.
        count: how many.
        rate: how frames are labelled.
        rate_code: 0 to 3; by default the rate's own.
        first_reading: a frame at which a reading of eight begins; readings follow each other every two frames.

    Returns:
        Shape (count,).
    """
    code = RATE_CODES[rate.name] if rate_code is None else rate_code
    quarters = np.arange(first_quarter, first_quarter + count, dtype=np.int64) - 4 * first_reading
    readings, piece = np.divmod(quarters, 8)
    labels = frames_to_labels(first_reading + 2 * readings, rate)
    last = labels.hours >> 4 | code << 1
    nibbles = np.stack(
        [
            labels.frames & 15,
            labels.frames >> 4,
            labels.seconds & 15,
            labels.seconds >> 4,
            labels.minutes & 15,
            labels.minutes >> 4,
            labels.hours & 15,
            last,
        ]
    )
    data = piece << 4 | nibbles[piece, np.arange(count)]
    return np.asarray(data, dtype=np.uint8)


def encode_full_frame(frame: int, rate: FrameRate, rate_code: int | None = None) -> bytes:
    """Return the full-frame message that tells one frame."""
    code = RATE_CODES[rate.name] if rate_code is None else rate_code
    labels = frames_to_labels(np.array([frame], dtype=np.int64), rate)
    parts = (labels.hours[0] | code << 5, labels.minutes[0], labels.seconds[0], labels.frames[0])
    return bytes((0xF0, 0x7F, 0x7F, 0x01, 0x01, *(int(part) for part in parts), 0xF7))


def write_midi_log(
    stream: BinaryIO,
    seconds: Float64s,
    messages: Sequence[bytes],
    *,
    division: int = TICKS_PER_BEAT_960,
    escaped: bool = False,
) -> None:
    """Write messages as a Standard MIDI File of one track.

    Args:
        stream: where the file goes.
        seconds: shape (n,), time of each message from the pass's first sample, none negative, never falling; it
            goes to the nearest tick.
        messages: n whole messages: quarter frames, or system exclusive.
        division: the header's division word: ticks per beat (at 120 beats a minute), or SMPTE.
        escaped: quarter frames as F7 escape events, as the standard wants; otherwise plain, as many recorders do.

    Raises:
        TimecodeError: a time is negative or falls, or the division is not one of the standard's.
    """
    ticks = np.rint(np.asarray(seconds, dtype=np.float64) * _ticks_per_second(division)).astype(np.int64)
    deltas = np.diff(ticks, prepend=0)
    if np.any(deltas < 0):
        raise TimecodeError("the times of a log may not be negative and may not fall")
    track = bytearray()
    for delta, message in zip(deltas.tolist(), messages, strict=True):
        track += _quantity(delta) + _event(message, escaped=escaped)
    track += b"\x00\xff\x2f\x00"
    stream.write(b"MThd" + (6).to_bytes(4, "big") + b"\x00\x00\x00\x01" + division.to_bytes(2, "big"))
    stream.write(b"MTrk" + len(track).to_bytes(4, "big") + bytes(track))


def quarter_messages(data: Bytes) -> list[bytes]:
    """Return the messages of an array of data bytes."""
    return [bytes((0xF1, byte)) for byte in data.tolist()]


def _ticks_per_second(division: int) -> float:
    if 0 < division < 0x8000:
        return float(division * _BEATS_PER_SECOND)
    frames = _SMPTE_FRAMES.get(division >> 8)
    if frames is None or division & 0xFF == 0:
        raise TimecodeError(f"division {division:#06x}; allowed: 1 to 32767, or SMPTE E8xx, E7xx, E3xx, E2xx")
    return frames * (division & 0xFF)


def _event(message: bytes, *, escaped: bool) -> bytes:
    if message[0] == 0xF0:
        return b"\xf0" + _quantity(len(message) - 1) + message[1:]
    if escaped:
        return b"\xf7" + _quantity(len(message)) + message
    return message


def _quantity(value: int) -> bytes:
    parts = [value & 0x7F]
    while value := value >> 7:
        parts.append(value & 0x7F | 0x80)
    return bytes(reversed(parts))
