"""Which sample formats are read, written and refused."""

from __future__ import annotations

import struct

import pytest

from assembler.errors import WaveError
from assembler.wave import PcmFormat, encode_format, parse_format

PCM_GUID = bytes.fromhex("0100000000001000800000AA00389B71")  # ksmedia.h, KSDATAFORMAT_SUBTYPE_PCM
FLOAT_GUID = bytes.fromhex("0300000000001000800000AA00389B71")  # ksmedia.h, KSDATAFORMAT_SUBTYPE_IEEE_FLOAT


def plain(tag: int, channels: int, rate: int, align: int, bits: int) -> bytes:
    """Return a 16-byte fmt payload."""
    return struct.pack("<HHIIHH", tag, channels, rate, rate * align & 0xFFFFFFFF, align, bits)


def extensible(channels: int, align: int, bits: int, valid: int, guid: bytes = PCM_GUID) -> bytes:
    """Return a 40-byte fmt payload at 48 kHz."""
    return plain(0xFFFE, channels, 48000, align, bits) + struct.pack("<HHI16s", 22, valid, 0, guid)


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        (plain(1, 1, 48000, 2, 16), PcmFormat(1, 48000, 16, 16)),
        (plain(1, 8, 44100, 24, 24), PcmFormat(8, 44100, 24, 24)),
        (plain(1, 1, 44100, 3, 20), PcmFormat(1, 44100, 24, 20)),
        (extensible(1, 3, 24, 20), PcmFormat(1, 48000, 24, 20)),
        (extensible(8, 16, 16, 16), PcmFormat(8, 48000, 16, 16)),
        (extensible(2, 6, 24, 0), PcmFormat(2, 48000, 24, 24)),
    ],
)
def test_pcm_is_read_plain_and_extensible(payload: bytes, expected: PcmFormat) -> None:
    """16 and 24 bit PCM are read, with the valid bits where they are given."""
    assert parse_format(payload) == expected


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (plain(3, 1, 48000, 4, 32), r"32-bit floating point; 16 or 24 bit PCM is needed"),
        (extensible(1, 4, 32, 32, FLOAT_GUID), r"32-bit floating point"),
        (plain(0x55, 2, 48000, 1, 0), r"compressed \(format tag 0x0055\)"),
        (plain(7, 1, 8000, 1, 8), r"mu-law compressed \(format tag 0x0007\)"),
        (plain(1, 1, 48000, 1, 8), r"8-bit PCM; 16 or 24"),
        (plain(1, 1, 48000, 4, 32), r"32-bit PCM; 16 or 24"),
        (plain(1, 0, 48000, 0, 16), r"0 channels"),
        (plain(1, 1, 0, 2, 16), r"at 0 Hz"),
        (plain(1, 2, 48000, 2, 16), r"2 bytes a frame; 2 x 16"),
        (plain(1, 1, 48000, 4, 24), r"4 bytes a frame; 1 x 24"),
        (extensible(1, 2, 16, 20), r"20 valid bits in 16"),
        (extensible(1, 3, 24, 24, b"\x01" + b"\xaa" * 15), r"unknown kind of samples"),
        (extensible(1, 3, 24, 24)[:24], r"24 bytes, 40 are needed"),
        (plain(1, 1, 48000, 2, 16)[:14], r"14 bytes, at least 16"),
        (b"", r"0 bytes"),
    ],
)
def test_other_formats_are_refused_by_name(payload: bytes, words: str) -> None:
    """The message says what was found and what is allowed."""
    with pytest.raises(WaveError, match=words):
        parse_format(payload)


def test_twenty_bits_are_written_as_plain_24_bit_pcm() -> None:
    """The written header is never extensible: valid bits are told elsewhere."""
    written = encode_format(PcmFormat(1, 48000, 24, 20))
    assert written == plain(1, 1, 48000, 3, 24)


@pytest.mark.parametrize(
    "pcm",
    [
        PcmFormat(1, 48000, 32, 32),
        PcmFormat(1, 48000, 16, 20),
        PcmFormat(0, 48000, 16, 16),
        PcmFormat(30000, 48000, 24, 24),
        PcmFormat(1, 0, 16, 16),
    ],
)
def test_formats_that_no_header_holds_are_not_written(pcm: PcmFormat) -> None:
    """A format outside the chunk's fields raises instead of wrapping round."""
    with pytest.raises(WaveError):
        encode_format(pcm)
