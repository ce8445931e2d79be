"""Timecode against published values.

Sources: SMPTE ST 12-1 (drop-frame compensation: labels 00 and 01 left out each minute but each tenth); MIDI 1.0
Detailed Specification, MIDI Time Code (quarter frame and full frame messages); Standard MIDI Files 1.0 (RP-001).
The rows of frames and samples follow from the rule by hand: 17982 frames in ten minutes, 1001/30000 s a frame.
"""

from __future__ import annotations

import io
from fractions import Fraction

import numpy as np
import pytest

from assembler.errors import TimecodeError
from assembler.timecode import (
    FRAME_RATES,
    decode_quarter_frames,
    encode_full_frame,
    encode_quarter_frames,
    format_label,
    frame_to_sample,
    frames_to_samples,
    parse_label,
    read_midi_log,
)

DROP = FRAME_RATES["29.97df"]

# SMPTE ST 12-1, drop-frame compensation; samples at 48 kHz are exact multiples of 8008/5.
DROP_ROWS = [
    (0, "00:00:00;00", Fraction(0)),
    (1799, "00:00:59;29", Fraction(28812784, 10)),
    (1800, "00:01:00;02", Fraction(2882880)),
    (3597, "00:01:59;29", Fraction(57609552, 10)),
    (3598, "00:02:00;02", Fraction(57625568, 10)),
    (17981, "00:09:59;29", Fraction(287983696, 10)),
    (17982, "00:10:00;00", Fraction(287999712, 10)),
    (53946, "00:30:00;00", Fraction(863999136, 10)),
    (107892, "01:00:00;00", Fraction(1727998272, 10)),
    (1078920, "10:00:00;00", Fraction(1727998272)),
    (2589407, "23:59:59;29", Fraction(41471942512, 10)),
]

# MIDI 1.0 Detailed Specification, MIDI Time Code: pieces 0 to 7, nibbles in binary; full frame F0 7F 7F 01 01 ... F7.
MESSAGE_ROWS = [
    ("01:10:20;29", "29.97df", 2, "F10D F111 F124 F131 F14A F150 F161 F174", "F07F7F0101410A141DF7"),
    ("23:59:59:24", "25", 1, "F108 F111 F12B F133 F14B F153 F167 F173", "F07F7F0101373B3B18F7"),
    ("17:37:58:23", "24", 0, "F107 F111 F12A F133 F145 F152 F161 F171", "F07F7F010111253A17F7"),
    ("00:00:00:00", "30", 3, "F100 F110 F120 F130 F140 F150 F160 F176", "F07F7F010160000000F7"),
]

# Standard MIDI Files 1.0: header, division E250 (30 frames a second of 80 ticks), one track.
HEADER = "4D546864 00000006 0000 0001 E250 4D54726B"


def read_hex(text: str) -> tuple[list[float], list[int]]:
    """Return times and data of the quarter frames in a file written as hex."""
    log = read_midi_log(io.BytesIO(bytes.fromhex(text)), 48000)
    return log.quarter_seconds.tolist(), log.quarter_data.tolist()


@pytest.mark.parametrize(("frame", "label", "sample"), DROP_ROWS)
def test_drop_frame_rows(frame: int, label: str, sample: Fraction) -> None:
    """Label, frame and sample of each published row agree both ways, the sample rounded halves up."""
    assert parse_label(label, DROP) == frame
    assert format_label(frame, DROP) == label
    assert frame_to_sample(frame, DROP, 48000) == (2 * sample.numerator + sample.denominator) // (
        2 * sample.denominator
    )


@pytest.mark.parametrize("label", ["00:01:00;00", "00:01:00;01", "00:59:00;00", "23:59:00;01"])
def test_left_out_labels_are_refused(label: str) -> None:
    """Labels that drop frame leaves out name no frame."""
    with pytest.raises(TimecodeError, match="does not exist"):
        parse_label(label, DROP)


@pytest.mark.parametrize("label", ["00:10:00;00", "01:00:00;00", "00:01:01;00", "00:01:01.00", "00:01:01:00"])
def test_kept_labels_are_accepted(label: str) -> None:
    """Labels next to those left out do exist, with any of the three separators."""
    assert format_label(parse_label(label, DROP), DROP)[:8] == label[:8]


def test_counts_of_a_day() -> None:
    """A drop-frame day counts 2589408 frames, an hour 107892 (SMPTE ST 12-1)."""
    assert DROP.frames_per_day == 2589408
    assert parse_label("02:00:00;00", DROP) - parse_label("01:00:00;00", DROP) == 107892


@pytest.mark.parametrize(("rate", "samples"), [("24", 2000), ("25", 1920), ("30", 1600), ("29.97", 1602)])
def test_samples_of_a_frame(rate: str, samples: int) -> None:
    """The first frame lasts 48000 over the exact rate, to the nearest sample (SMPTE ST 12-1 rates)."""
    assert frame_to_sample(1, FRAME_RATES[rate], 48000) == samples


def test_frame_edges_never_drift() -> None:
    """At 29.97 every fifth frame begins on a whole sample of 48 kHz, up to the last of the day."""
    fifth = np.arange(0, 2589408, 5, dtype=np.int64)
    assert np.array_equal(frames_to_samples(fifth, DROP.exact, 48000), fifth // 5 * 8008)


@pytest.mark.parametrize(("label", "rate", "code", "quarters", "full"), MESSAGE_ROWS)
def test_messages_of_the_specification(label: str, rate: str, code: int, quarters: str, full: str) -> None:
    """The worked examples of quarter frames and full frames are written byte for byte."""
    frame = parse_label(label, FRAME_RATES[rate])
    assert encode_quarter_frames(frame, FRAME_RATES[rate]) == bytes.fromhex(quarters)
    assert encode_quarter_frames(frame, FRAME_RATES[rate], code) == bytes.fromhex(quarters)
    assert encode_full_frame(frame, FRAME_RATES[rate]) == bytes.fromhex(full)


@pytest.mark.parametrize(("label", "rate", "code", "quarters", "full"), MESSAGE_ROWS)
def test_specification_is_decoded(label: str, rate: str, code: int, quarters: str, full: str) -> None:
    """The worked examples, in a file, give their time at the first piece, and the full frame its fields."""
    events = bytes.fromhex(f"00F009{full[2:]}")
    events += b"".join(b"\x14" + message for message in map(bytes.fromhex, quarters.split()))
    data = bytes.fromhex(HEADER) + len(events).to_bytes(4, "big") + events
    log = read_midi_log(io.BytesIO(data), 48000)
    points = decode_quarter_frames(log, FRAME_RATES[rate])
    expected = parse_label(label, FRAME_RATES[rate])
    assert points.frames.tolist() == [expected + piece / 4 for piece in range(8)]
    assert points.seconds.tolist() == pytest.approx(
        [20 * (piece + 1) / 2400 for piece in range(8)], abs=1e-12
    )
    assert points.rate_code == code
    (frame,) = log.full_frames
    hours, minutes, second, frames = (int(label[place : place + 2]) for place in (0, 3, 6, 9))
    assert (frame.hours, frame.minutes, frame.second, frame.frames, frame.rate_code) == (
        hours,
        minutes,
        second,
        frames,
        code,
    )


def test_plain_quarter_frames() -> None:
    """Plain F1 events, which the standard does not allow, are read all the same; 20 ticks of 1/2400 s apart."""
    seconds, data = read_hex(HEADER + "0000000A 00 F100 14 F110 00 FF2F00")
    assert data == [0x00, 0x10]
    assert seconds == pytest.approx([0.0, 20 / 2400], abs=1e-12)


def test_escaped_quarter_frames() -> None:
    """F7 escape events, the standard's form, give the same."""
    seconds, data = read_hex(HEADER + "0000000E 00 F702F100 14 F702F110 00 FF2F00")
    assert data == [0x00, 0x10]
    assert seconds == pytest.approx([0.0, 20 / 2400], abs=1e-12)


def test_millisecond_division() -> None:
    """Division E728, 25 frames a second of 40 ticks, counts milliseconds (the standard's own example)."""
    text = "4D546864 00000006 0000 0001 E728 4D54726B 0000000B 00 F100 8768 F110 00 FF2F00"
    log = read_midi_log(io.BytesIO(bytes.fromhex(text)), 48000)
    assert log.quarter_seconds.tolist() == [0.0, 1.0]
    assert log.tick_seconds == pytest.approx(1e-3, abs=1e-15)


def test_plain_quarter_frame_leaves_running_status_alone() -> None:
    """A note that goes on by running status after a plain F1 is a note, not three quarter frames."""
    text = HEADER + "00000010 00 903C40 00 F105 00 3C00 00 F115 00 FF2F00"
    log = read_midi_log(io.BytesIO(bytes.fromhex(text)), 48000)
    assert log.quarter_data.tolist() == [0x05, 0x15]
    assert log.other_messages == 2
