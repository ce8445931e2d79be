"""Markers in ``cue `` and ``LIST adtl``, and texts in ``LIST INFO``."""

from __future__ import annotations

import struct

import pytest

from assembler.errors import WaveError
from assembler.wave import Marker, decode_info, decode_markers, encode_info, encode_markers

MARKERS = (
    Marker(0, 0, "start"),
    Marker(480_000, 480, "join", "pass A1 to A2"),
    Marker(700_001, 12, "uncured"),
)


def test_markers_come_back() -> None:
    """Points, stretches, labels and notes are read as they were written, in their order."""
    (_, cue), (_, adtl) = encode_markers(MARKERS)
    assert decode_markers(cue, adtl) == MARKERS


def test_no_markers_make_no_chunks() -> None:
    """Nothing to mark leaves nothing in the file."""
    assert encode_markers([]) == []


def test_a_cue_chunk_is_laid_out_as_published() -> None:
    """4 + 24n bytes, numbered points in frames of ``data`` (RIFF 1991, "Cue-Points Chunk")."""
    cue = encode_markers(MARKERS)[0][1]
    assert len(cue) == 4 + 24 * 3
    assert struct.unpack_from("<I", cue) == (3,)
    assert struct.unpack_from("<II4sIII", cue, 4 + 24) == (2, 480_000, b"data", 0, 0, 480_000)


def test_texts_inside_a_list_are_padded() -> None:
    """A label of odd size is followed by a pad byte, so that the list stays even and readable."""
    adtl = encode_markers([Marker(1, 0, "abcd"), Marker(2, 0, "abc")])[1][1]
    expected = b"adtllabl\x09\0\0\0\x01\0\0\0abcd\0\0labl\x08\0\0\0\x02\0\0\0abc\0"  # RIFF 1991, "labl"
    assert adtl == expected


def test_labels_are_written_in_ascii() -> None:
    """RIFF names no character set: letters outside ASCII are replaced, and line ends become blanks."""
    (_, cue), (_, adtl) = encode_markers([Marker(1, 0, "Fl\u00fcgel\n\u266f1")])
    assert decode_markers(cue, adtl)[0].label == "Flugel #1"


@pytest.mark.parametrize("marker", [Marker(-1, 0, "x"), Marker(1 << 32, 0, "x"), Marker(0, 1 << 32, "x")])
def test_places_outside_32_bits_are_refused(marker: Marker) -> None:
    """A place that the chunk cannot hold raises instead of wrapping round."""
    with pytest.raises(WaveError, match="32 bits"):
        encode_markers([marker])


def test_points_without_a_list_are_read() -> None:
    """A file with points and no names gives markers without labels."""
    cue = encode_markers(MARKERS)[0][1]
    assert decode_markers(cue, b"") == (Marker(0, 0, ""), Marker(480_000, 0, ""), Marker(700_001, 0, ""))


@pytest.mark.parametrize(
    ("cue", "adtl", "words"),
    [
        (b"\x01\0", b"", "2 bytes"),
        (b"\xff\xff\xff\xff", b"", "says 4294967295 points"),
        (b"\0\0\0\0", b"INFO", "adtl is needed"),
        (b"\0\0\0\0", b"adtllabl\xff\0\0\0", "says 255 bytes"),
    ],
)
def test_cut_off_markers_are_refused(cue: bytes, adtl: bytes, words: str) -> None:
    """A count or size beyond the payload raises."""
    with pytest.raises(WaveError, match=words):
        decode_markers(cue, adtl)


def test_info_texts_come_back() -> None:
    """Texts are kept in order and in ASCII, on one line; empty ones are left out."""
    payload = encode_info({"INAM": "F\u00eate", "IARL": "", "ICMT": "two\nlines", "ICRD": "1995-09-02"})
    assert list(decode_info(payload).items()) == [
        ("INAM", "Fete"),
        ("ICMT", "two lines"),
        ("ICRD", "1995-09-02"),
    ]
    assert len(payload) % 2 == 0


def test_info_is_laid_out_as_published() -> None:
    """List type, then keys with NUL-terminated texts padded to even (RIFF 1991, "INFO List Chunk")."""
    assert encode_info({"INAM": "ab", "ISFT": "a"}) == b"INFOINAM\x03\0\0\0ab\0\0ISFT\x02\0\0\0a\0"


def test_the_first_of_two_info_texts_counts() -> None:
    """A key that stands twice gives its first text."""
    assert decode_info(b"INFOINAM\x02\0\0\0a\0INAM\x02\0\0\0b\0") == {"INAM": "a"}


@pytest.mark.parametrize("key", ["INA", "INAME", "IN\u00c4M"])
def test_info_keys_have_four_characters(key: str) -> None:
    """Another key raises."""
    with pytest.raises(WaveError, match="four ASCII"):
        encode_info({key: "x"})


@pytest.mark.parametrize("payload", [b"", b"adtl", b"INFOINAM\x09\0\0\0ab"])
def test_broken_info_is_refused(payload: bytes) -> None:
    """Another list, or a text that runs past the end, raises."""
    with pytest.raises(WaveError):
        decode_info(payload)
