"""The broadcast extension: limits, versions, and what older or odd files say."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from assembler.errors import WaveError
from assembler.wave import BroadcastExtension, Loudness, coding_history_row, decode_bext, encode_bext

FULL = BroadcastExtension(
    description="Lantern Fair, evening set\r\nreel A, track 1",
    originator="Millbrook Sound Archive",
    originator_reference="GBMSA000000000042103000123456789",
    origination_date="1995-09-02",
    origination_time="10:30:00",
    time_reference=(5 << 32) + 7,
    umid=bytes(range(1, 33)),
    loudness=Loudness(-22.64, 12.76, -1.0, None, -18.5),
    coding_history="A=PCM,F=48000,W=20,M=mono,T=tape\r\nA=PCM,F=48000,W=24,M=mono,T=assembled\r\n",
)


def test_a_full_record_comes_back() -> None:
    """Every field that is written is read again as it was."""
    assert decode_bext(encode_bext(FULL)) == FULL


def test_the_payload_is_always_even() -> None:
    """History of any length leaves an even payload, filled with a NUL that is not read back."""
    for length in range(4):
        extension = replace(FULL, coding_history="x" * length)
        payload = encode_bext(extension)
        assert len(payload) % 2 == 0
        assert decode_bext(payload).coding_history == ("x" * length + "\r\n" if length else "")


def test_history_rows_end_in_cr_lf() -> None:
    """Rows given with any line end are written with CR LF (EBU R 98-1999, Appendix 1)."""
    payload = encode_bext(replace(FULL, coding_history="one\ntwo\r\nthree"))
    assert payload[602:].rstrip(b"\0") == b"one\r\ntwo\r\nthree\r\n"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"description": "x" * 257}, "description has 257"),
        ({"originator": "x" * 33}, "originator has 33"),
        ({"originator_reference": "x" * 33}, "originator_reference has 33"),
        ({"originator": "Müller"}, "originator holds"),
        ({"originator": "two\nlines"}, "originator holds"),
        ({"description": "a\0b"}, "description holds"),
        ({"coding_history": "größer"}, "coding_history holds"),
        ({"origination_date": "02.09.1995"}, "yyyy-mm-dd"),
        ({"origination_date": "1995-02-30"}, "yyyy-mm-dd"),
        ({"origination_time": "24:00:00"}, "hh:mm:ss"),
        ({"time_reference": -1}, "time_reference -1"),
        ({"time_reference": 1 << 64}, "time_reference"),
        ({"version": 3}, "version 3"),
        ({"umid": b"short"}, "umid has 5"),
        ({"version": 0, "loudness": Loudness()}, "umid"),
        ({"version": 1}, "loudness"),
        ({"loudness": Loudness(integrated=math.nan)}, "integrated is nan"),
        ({"loudness": Loudness(max_true_peak=math.inf)}, "max_true_peak is inf"),
    ],
)
def test_what_a_field_cannot_hold_is_refused(change: dict[str, object], words: str) -> None:
    """The message names the field; nothing is cut off silently."""
    with pytest.raises(WaveError, match=words):
        encode_bext(replace(FULL, **change))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "word"), [(-math.inf, 0x7FFF), (None, 0x7FFF), (400.0, 0x7FFE), (-400.0, -0x8000)]
)
def test_loudness_at_the_ends_of_the_word(value: float | None, word: int) -> None:
    """Silence is written as not set; a number never turns into the word for not set."""
    payload = encode_bext(BroadcastExtension(loudness=Loudness(integrated=value)))
    assert int.from_bytes(payload[412:414], "little", signed=True) == word


@pytest.mark.parametrize(("version", "umid", "integrated"), [(0, b"", None), (1, bytes(range(1, 65)), None)])
def test_older_versions_leave_out_what_they_lack(version: int, umid: bytes, integrated: float | None) -> None:
    """Bytes that a version does not define are not taken for values."""
    payload = bytearray(encode_bext(replace(FULL, umid=bytes(range(1, 65)))))
    payload[346] = version
    read = decode_bext(bytes(payload))
    assert (read.version, read.umid, read.loudness.integrated) == (version, umid, integrated)


def test_older_versions_are_written_with_zeros() -> None:
    """In version 0 everything from the UMID to the history is zero (Tech 3285 v2, 1.1)."""
    payload = encode_bext(BroadcastExtension(version=0, coding_history="row"))
    assert payload[348:602] == bytes(254)


def test_latin_1_bytes_are_read() -> None:
    """A capture whose description is not ASCII is read as latin-1 and raises nothing."""
    payload = b"Fl\xfcgel\0rest".ljust(256, b"\0") + bytes(346)
    assert decode_bext(payload).description == "Flügel"


def test_a_short_payload_is_refused() -> None:
    """Less than the fixed 602 bytes is no bext chunk."""
    with pytest.raises(WaveError, match="601 bytes, at least 602"):
        decode_bext(bytes(601))


@pytest.mark.parametrize(
    ("channels", "text", "row"),
    [
        (1, "tape, pass 2", "A=PCM,F=48000,W=20,M=mono,T=tape; pass 2"),
        (2, "a\nb", "A=PCM,F=48000,W=20,M=stereo,T=a b"),
        (8, "Übertragung", "A=PCM,F=48000,W=20,T=Ubertragung"),
    ],
)
def test_history_rows_follow_r_98(channels: int, text: str, row: str) -> None:
    """Order A, F, W, M, T; no mode beyond stereo; no commas in the text (EBU R 98-1999, Appendix 1)."""
    assert coding_history_row(sample_rate=48000, word_length=20, channels=channels, text=text) == row
