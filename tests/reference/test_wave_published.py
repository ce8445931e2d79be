"""Bytes and words that the standards print, against what this package writes and reads."""

from __future__ import annotations

import io
import struct
from dataclasses import replace

import pytest

from assembler.wave import (
    BroadcastExtension,
    Loudness,
    PcmFormat,
    decode_bext,
    encode_bext,
    encode_format,
    parse_format,
    read_chunks,
    wave_header,
)

# EBU Tech 3285 v2 (May 2011), 2.3, pp. 9-12: offset, size, bytes that the record below must leave there.
BEXT_ROWS = [
    (0, 256, b"Description".ljust(256, b"\0")),
    (256, 32, b"Originator".ljust(32, b"\0")),
    (288, 32, b"GBMSA000000000042103000123456789"),  # fills the field: no NUL
    (320, 10, b"1995-09-02"),
    (330, 8, b"10:30:00"),
    (338, 4, bytes.fromhex("07000000")),  # low word first
    (342, 4, bytes.fromhex("05000000")),
    (346, 2, bytes.fromhex("0200")),
    (348, 64, bytes(range(1, 33)) + bytes(32)),  # a basic UMID leaves the last 32 bytes zero
    (412, 2, bytes.fromhex("27f7")),
    (414, 2, bytes.fromhex("fd04")),
    (416, 2, bytes.fromhex("9cff")),
    (418, 2, bytes.fromhex("ff7f")),
    (420, 2, bytes.fromhex("00f8")),
    (422, 180, bytes(180)),
    (602, 5, b"row\r\n"),
]
RECORD = BroadcastExtension(
    description="Description",
    originator="Originator",
    originator_reference="GBMSA000000000042103000123456789",
    origination_date="1995-09-02",
    origination_time="10:30:00",
    time_reference=(5 << 32) + 7,
    umid=bytes(range(1, 33)),
    loudness=Loudness(-22.645, 12.765, -1.0, None, -20.48),
    coding_history="row",
)


@pytest.mark.parametrize(("offset", "size", "expected"), BEXT_ROWS)
def test_bext_fields_stand_at_their_offsets(offset: int, size: int, expected: bytes) -> None:
    """Each field is where Tech 3285 v2 prints it, with the bytes it prescribes."""
    assert encode_bext(RECORD)[offset : offset + size] == expected


# EBU Tech 3285 v2, 2.4, pp. 12-13: value and stored word, rounded half away from zero.
LOUDNESS_ROWS = [
    (-22.644, 0xF728),
    (-22.645, 0xF727),
    (-22.646, 0xF727),
    (12.764, 0x04FC),
    (12.765, 0x04FD),
    (12.766, 0x04FD),
    (None, 0x7FFF),
]


@pytest.mark.parametrize(("value", "word"), LOUDNESS_ROWS)
@pytest.mark.parametrize(
    ("field", "offset"),
    [
        ("integrated", 412),
        ("range", 414),
        ("max_true_peak", 416),
        ("max_momentary", 418),
        ("max_short_term", 420),
    ],
)
def test_loudness_words_are_the_printed_ones(field: str, offset: int, value: float | None, word: int) -> None:
    """Each of the five fields rounds as the standard's example does, and is read back to the hundredth."""
    payload = encode_bext(replace(RECORD, loudness=replace(Loudness(), **{field: value})))
    assert payload[offset : offset + 2] == word.to_bytes(2, "little")
    read = getattr(decode_bext(payload).loudness, field)
    signed = word - 0x10000 if word >= 0x8000 else word
    assert read == (None if value is None else signed / 100)


# Samples since midnight, by arithmetic: hours * 3600 * rate; then the low and high word.
TIME_ROWS = [
    (10 * 3600 * 48000, 0x66FF3000, 0),
    (24 * 3600 * 48000, 0xF7314000, 0),
    (13 * 3600 * 96000, 0x0BCAB000, 1),
    ((5 << 32) + 7, 7, 5),
]


@pytest.mark.parametrize(("samples", "low", "high"), TIME_ROWS)
def test_time_references_fill_two_words(samples: int, low: int, high: int) -> None:
    """The low word stands first, the high word behind it (Tech 3285 v2, 2.3), and both are read."""
    payload = encode_bext(replace(RECORD, time_reference=samples))
    assert struct.unpack_from("<II", payload, 338) == (low, high)
    assert decode_bext(payload).time_reference == samples


# RIFF 1991, WAVE pp. 56-65, and WAVEFORMATEXTENSIBLE (mmreg.h, ksmedia.h).
PLAIN_16 = bytes.fromhex("0100 0100 80BB0000 00770100 0200 1000")
EXTENSIBLE_20 = bytes.fromhex(
    "FEFF 0100 80BB0000 80320200 0300 1800 1600 1400 04000000 0100000000001000800000AA00389B71"
)


def test_the_format_chunk_is_the_published_one() -> None:
    """16 bit mono at 48 kHz is written byte for byte, and the extensible example is read."""
    assert encode_format(PcmFormat(1, 48000, 16, 16)) == PLAIN_16
    assert parse_format(PLAIN_16) == PcmFormat(1, 48000, 16, 16)
    assert parse_format(EXTENSIBLE_20) == PcmFormat(1, 48000, 24, 20)


def test_the_form_header_counts_all_but_its_first_eight_bytes() -> None:
    """RIFF size is the file's length less 8, the pad byte of odd data counted (RIFF 1991, chapter RIFF)."""
    pcm = PcmFormat(1, 48000, 24, 24)
    content = wave_header(pcm, 1001, []) + bytes(3003 + 1)
    assert content[:4] == b"RIFF"
    assert struct.unpack_from("<I", content, 4)[0] == len(content) - 8
    assert read_chunks(io.BytesIO(content)).faults == ()
