"""The bytes before and after the samples."""

from __future__ import annotations

import io
import struct

import pytest

from assembler.errors import WaveError
from assembler.wave import PcmFormat, read_chunks, wave_header, wave_trailer

MONO_24 = PcmFormat(1, 48000, 24, 24)
CHUNKS = [("iXML", b"<x/>"), ("bext", bytes(602)), ("LIST", b"INFO")]


def names(header: bytes) -> list[str]:
    """Return the names of the chunks in a header."""
    return [chunk.name for chunk in read_chunks(io.BytesIO(header)).chunks]


def test_chunks_stand_in_the_order_an_archive_wants() -> None:
    """Room for ds64, bext, fmt, everything else as given, and data last."""
    assert names(wave_header(MONO_24, 0, CHUNKS)) == ["JUNK", "bext", "fmt ", "iXML", "LIST", "data"]


def test_a_short_file_keeps_room_for_long_sizes() -> None:
    """JUNK of 28 bytes stands where ds64 would (BS.2088 Annex 1), and the RIFF size counts the pad byte."""
    header = wave_header(MONO_24, 1001, [])
    assert header[:4] == b"RIFF"
    assert header[12:20] == b"JUNK\x1c\0\0\0"
    assert struct.unpack_from("<I", header, 4)[0] == len(header) - 8 + 3003 + 1
    assert header[-8:] == b"data" + struct.pack("<I", 3003)


def test_a_long_file_becomes_rf64_without_moving() -> None:
    """Past the limit the sizes go to ds64, in a header of the same length (EBU Tech 3306)."""
    frames = 2_000_000_000
    short, header = wave_header(MONO_24, 0, CHUNKS), wave_header(MONO_24, frames, CHUNKS)
    assert len(header) == len(short)
    assert header[:8] == b"RF64\xff\xff\xff\xff"
    assert header[12:20] == b"ds64\x1c\0\0\0"
    sizes = struct.unpack_from("<QQQI", header, 20)
    assert sizes == (len(header) - 8 + 3 * frames, 3 * frames, frames, 0)
    assert header[-8:] == b"data\xff\xff\xff\xff"
    assert header[48:-4] == short[48:-4]


def test_the_limit_itself_is_still_riff() -> None:
    """A RIFF size equal to the limit fits; one more does not."""
    size = struct.unpack_from("<I", wave_header(MONO_24, 10, []), 4)[0]
    assert wave_header(MONO_24, 10, [], largest_riff=size)[:4] == b"RIFF"
    assert wave_header(MONO_24, 10, [], largest_riff=size - 1)[:4] == b"RF64"


def test_the_default_limit_leaves_the_mark_free() -> None:
    """Mono 16 bit: the largest RIFF size is even and below 0xFFFFFFFF, which means "see ds64"."""
    mono_16 = PcmFormat(1, 48000, 16, 16)
    room = (0xFFFFFFFE - (len(wave_header(mono_16, 0, [])) - 8)) // 2
    assert wave_header(mono_16, room, [])[:8] == b"RIFF\xfe\xff\xff\xff"
    assert wave_header(mono_16, room + 1, [])[:4] == b"RF64"


@pytest.mark.parametrize(("frames", "trailer"), [(0, b""), (1, b"\0"), (2, b"")])
def test_odd_samples_are_followed_by_a_pad_byte(frames: int, trailer: bytes) -> None:
    """The trailer is a NUL after an odd number of bytes."""
    assert wave_trailer(MONO_24, frames) == trailer


@pytest.mark.parametrize(
    ("chunks", "words"),
    [
        ([("bext", b"123")], "bext chunk has 3 bytes; an even"),
        ([("data", b"")], "data"),
        ([("fmt ", b"")], "fmt "),
        ([("abc", b"")], "abc"),
        ([("ab\u00e9d", b"")], "four ASCII"),
    ],
)
def test_chunks_that_would_harm_readers_are_refused(chunks: list[tuple[str, bytes]], words: str) -> None:
    """Odd payloads, broken names and names of the header's own chunks raise."""
    with pytest.raises(WaveError, match=words):
        wave_header(MONO_24, 1, chunks)


def test_fewer_than_no_frames_are_refused() -> None:
    """A negative length raises."""
    with pytest.raises(WaveError, match="-1 frames"):
        wave_header(MONO_24, -1, [])
