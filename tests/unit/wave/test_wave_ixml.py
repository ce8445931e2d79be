"""The iXML chunk: written, read again, and hardened."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from assembler.errors import WaveError
from assembler.wave import TrackSheet, decode_ixml, encode_ixml

SHEET = TrackSheet(
    project="Lantern Fair & friends <evening>",
    tape="A",
    track_name="Flügelhorn “hoch” ♯1",
    channel_index=9,
    frame_rate=Fraction(30000, 1001),
    drop_frame=True,
    sample_rate=44100,
    bit_depth=24,
    start_sample=(5 << 32) + 7,
    note="20 bits on tape\r\nsecond line",
    file_uid="a1b2",
)


def test_a_track_sheet_comes_back() -> None:
    """Markup characters, line ends, Unicode and both halves of the start are read as they were written."""
    assert decode_ixml(encode_ixml(SHEET)) == SHEET


def test_empty_extras_are_not_written() -> None:
    """A note or identifier that is empty leaves no element."""
    payload = encode_ixml(replace(SHEET, note="", file_uid=""))
    assert b"NOTE" not in payload
    assert b"FILE_UID" not in payload


def test_the_payload_is_always_even() -> None:
    """A line end after the root fills up to an even size."""
    for name in ("a", "ab"):
        payload = encode_ixml(replace(SHEET, track_name=name))
        assert len(payload) % 2 == 0
        assert payload.rstrip().endswith(b"</BWFXML>")


def test_trailing_nuls_are_no_trouble() -> None:
    """Writers that fill the chunk with NULs are read."""
    assert decode_ixml(encode_ixml(SHEET) + bytes(100)) == SHEET


@pytest.mark.parametrize("name", ["bell \x07", "half \ud800", "odd \uffff"])
def test_characters_outside_xml_are_refused(name: str) -> None:
    """What XML 1.0 (2.2) cannot carry raises with the element's name."""
    with pytest.raises(WaveError, match="NAME"):
        encode_ixml(replace(SHEET, track_name=name))


BOMB = b'<!DOCTYPE x [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]><BWFXML><PROJECT>&b;</PROJECT></BWFXML>'


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"", "well-formed"),
        (b"<BWFXML>", "well-formed"),
        (b"<BWFXML/>", "no SPEED/TIMECODE_FLAG"),
        (b"\xff\xfe<", "not UTF-8"),
        (BOMB, "document type"),
        ((BOMB.decode()).encode("utf-16"), "not UTF-8"),
        (b"<a>" * 300_000, "well-formed"),
        (b" " * (1 << 21), "at most"),
        (encode_ixml(SHEET).replace(b">DF<", b">yes<"), "TIMECODE_FLAG 'yes'"),
        (encode_ixml(SHEET).replace(b"30000/1001</TIMECODE", b"1/0</TIMECODE"), "TIMECODE_RATE '1/0'"),
        (encode_ixml(SHEET).replace(b">44100</FILE", b">-1</FILE"), "FILE_SAMPLE_RATE '-1'"),
        (encode_ixml(SHEET).replace(b"TAPE", b"TYPE"), "no TAPE"),
    ],
)
def test_what_cannot_be_used_is_refused(payload: bytes, words: str) -> None:
    """Broken, endless or incomplete XML raises one plain error."""
    with pytest.raises(WaveError, match=words):
        decode_ixml(payload)
