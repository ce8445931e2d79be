"""Where chunks are found, and what is told of headers that were written wrongly."""

from __future__ import annotations

import io
import struct

import pytest

from assembler.errors import WaveError
from assembler.wave import Chunk, read_chunks


def chunk(name: bytes, payload: bytes, *, size: int | None = None) -> bytes:
    """Return a chunk as the 1991 document lays it out: name, size, payload, pad byte."""
    stated = len(payload) if size is None else size
    return name + struct.pack("<I", stated) + payload + b"\0" * (len(payload) % 2)


def form(body: bytes, *, name: bytes = b"RIFF", size: int | None = None) -> io.BytesIO:
    """Return a WAVE stream with ``body`` after the form type."""
    stated = len(body) + 4 if size is None else size
    return io.BytesIO(name + struct.pack("<I", stated) + b"WAVE" + body)


def ds64(riff_size: int, data_size: int, entries: tuple[tuple[bytes, int], ...] = ()) -> bytes:
    """Return a ds64 chunk as EBU Tech 3306 and ITU-R BS.2088 Annex 1 lay it out."""
    table = b"".join(struct.pack("<4sQ", name, size) for name, size in entries)
    return chunk(b"ds64", struct.pack("<QQQI", riff_size, data_size, 0, len(entries)) + table)


def test_chunks_are_found_past_an_odd_payload() -> None:
    """The pad byte after an odd payload belongs to no chunk."""
    found = read_chunks(form(chunk(b"abcd", b"123") + chunk(b"data", b"xy")))
    assert found.chunks == (Chunk("abcd", 20, 3), Chunk("data", 32, 2))
    assert found.faults == ()


@pytest.mark.parametrize("name", [b"RF64", b"BW64"])
def test_long_sizes_come_from_ds64(name: bytes) -> None:
    """A size of 0xFFFFFFFF defers to ds64, for data and for chunks in the table; other sizes stand."""
    tail = chunk(b"data", b"123456", size=0xFFFFFFFF) + chunk(b"axml", b"12", size=0xFFFFFFFF)
    tail += chunk(b"bext", b"1234")
    body = ds64(4 + 48 + len(tail), 6, ((b"axml", 2),)) + tail
    found = read_chunks(form(body, name=name, size=0xFFFFFFFF))
    assert found.form == name.decode()
    assert [(part.name, part.size) for part in found.chunks] == [
        ("ds64", 40),
        ("data", 6),
        ("axml", 2),
        ("bext", 4),
    ]
    assert found.faults == ()


def test_a_size_past_four_gib_is_read_in_full() -> None:
    """Both halves of a ds64 size count: the fault names the 64-bit size."""
    size = (3 << 32) + 5
    body = ds64(size, size) + chunk(b"data", b"1234", size=0xFFFFFFFF)
    found = read_chunks(form(body, name=b"RF64", size=0xFFFFFFFF))
    assert f"the data chunk says {size} bytes, the file ends after 4" in found.faults


def test_a_plain_size_in_rf64_stands() -> None:
    """In RF64 a data size other than 0xFFFFFFFF is not replaced."""
    body = ds64(62, 99) + chunk(b"data", b"1234") + chunk(b"bext", b"12")
    found = read_chunks(form(body, name=b"RF64", size=0xFFFFFFFF))
    assert found.chunks[1:] == (Chunk("data", 56, 4), Chunk("bext", 68, 2))


def test_a_cut_off_chunk_has_the_bytes_that_are_there() -> None:
    """A chunk that the end of the file cuts off is told and shortened."""
    found = read_chunks(form(chunk(b"data", b"1234", size=10), size=22))
    assert found.chunks == (Chunk("data", 20, 4),)
    assert found.faults == (
        "the RIFF size says the file has 30 bytes, it has 24",
        "the data chunk says 10 bytes, the file ends after 4",
    )


def test_a_data_size_never_filled_in_takes_the_rest() -> None:
    """A recorder that crashed left 0 as data size: the samples after it are found, and told."""
    samples = b"\x01\x80\x02\x90" * 8
    found = read_chunks(form(chunk(b"data", b"") + samples, size=0))
    assert found.first("data") == Chunk("data", 20, 32)
    assert any("says 0 bytes, 32 follow" in fault for fault in found.faults)


@pytest.mark.parametrize("counted", [6000, 6003])
@pytest.mark.parametrize("riff", ["stale", "zero", "max"])
def test_a_data_size_of_an_earlier_flush_takes_the_rest(counted: int, riff: str) -> None:
    """A recorder that crashed left the sizes of the last time but one: all samples are found, and told."""
    samples = b"\x01\x80\x02" * 5000
    size = {"stale": 4 + 8 + counted + counted % 2, "zero": 0, "max": 0xFFFFFFFF}[riff]
    found = read_chunks(form(b"data" + struct.pack("<I", counted) + samples, size=size))
    assert found.chunks == (Chunk("data", 20, 15000),)
    assert any(f"says {counted} bytes, {15000 - counted} follow" in fault for fault in found.faults)


def test_what_the_form_claims_behind_samples_is_no_sound() -> None:
    """A list that the end of the file cuts off, and a few bytes of anything, are not taken for samples."""
    head = chunk(b"data", b"\x01\x80" * 3000)
    cut = read_chunks(form(head + chunk(b"LIST", b"\x00" * 5000, size=9000), size=4 + len(head) + 5000))
    few = read_chunks(form(head + b"\x01" * 500, size=4 + len(head)))
    assert cut.first("data") == few.first("data") == Chunk("data", 20, 6000)


def test_an_empty_data_chunk_stays_empty() -> None:
    """A data chunk of 0 bytes with another chunk behind it is a capture without samples."""
    found = read_chunks(form(chunk(b"data", b"") + chunk(b"bext", b"12")))
    assert [part.size for part in found.chunks] == [0, 2]
    assert found.faults == ()


def test_a_missing_pad_byte_is_told_and_skipped() -> None:
    """A chunk written right behind an odd payload is still found."""
    found = read_chunks(form(chunk(b"note", b"123")[:-1] + chunk(b"data", b"12")))
    assert found.first("data") == Chunk("data", 31, 2)
    assert found.faults == ("the note chunk has an odd size and no pad byte after it",)


def test_bytes_that_are_no_chunk_end_the_walk() -> None:
    """What follows the last chunk and is none is told with its place."""
    found = read_chunks(form(chunk(b"data", b"12") + b"\xff" * 9, size=14))
    assert len(found.chunks) == 1
    assert "9 bytes from byte 22 on are no chunk" in found.faults


def test_an_rf64_without_ds64_is_read_to_its_end() -> None:
    """Without ds64 the file's length says where data ends."""
    found = read_chunks(form(chunk(b"data", b"1234", size=0xFFFFFFFF), name=b"RF64", size=0xFFFFFFFF))
    assert found.first("data") == Chunk("data", 20, 4)
    assert any("no ds64" in fault for fault in found.faults)


def test_a_ds64_table_that_is_cut_off_is_told() -> None:
    """More entries than the ds64 chunk has room for are told, and those that are there are used."""
    sizes = struct.pack("<QQQI4sQ", 76, 2, 0, 9, b"axml", 4)
    body = chunk(b"ds64", sizes) + chunk(b"axml", b"1234", size=0xFFFFFFFF) + chunk(b"data", b"12")
    found = read_chunks(form(body, name=b"RF64", size=0xFFFFFFFF))
    assert found.first("axml") == Chunk("axml", 68, 4)
    assert "the ds64 chunk says 9 entries, 1 could be read" in found.faults


def test_the_number_of_chunks_is_limited() -> None:
    """A file of nothing but empty chunks ends the walk with a fault, whatever its length."""
    found = read_chunks(form(chunk(b"abcd", b"") * 5000))
    assert len(found.chunks) == 4096
    assert any("more than 4096 chunks" in fault for fault in found.faults)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty file"),
        (b"RIFF\x04\0\0\0WAV", "11 bytes long"),
        (b"\xff" * 64, "not a WAV file"),
        (b"FORM\0\0\0\x04AIFF", "FORM"),
        (b"RIFX\0\0\0\x04WAVE", "RIFX"),
        (b"RIFF\x04\0\0\0AVI ", "AVI "),
    ],
)
def test_what_is_no_wave_file_is_refused(content: bytes, words: str) -> None:
    """Another kind of file is named by what it begins with."""
    with pytest.raises(WaveError, match=words):
        read_chunks(io.BytesIO(content))
