"""Laws of the WAV formats: what is written is what is read, whatever it is."""

from __future__ import annotations

import datetime as dt
import io
from fractions import Fraction

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from assembler.wave import (
    BroadcastExtension,
    Loudness,
    Marker,
    PcmFormat,
    TrackSheet,
    decode_bext,
    decode_info,
    decode_ixml,
    decode_markers,
    encode_bext,
    encode_format,
    encode_info,
    encode_ixml,
    encode_markers,
    fit_field,
    pack_samples,
    parse_format,
    read_info,
    transliterate,
    unpack_samples,
    wave_header,
    wave_trailer,
)

ASCII = st.characters(min_codepoint=0x20, max_codepoint=0x7E)
# What XML 1.0 (2.2) can carry.
XML = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff")
    | st.sampled_from("\t\r\n&<>]\"'"),
    max_size=30,
)
HUNDREDTHS = st.none() | st.integers(-9999, 9999).map(lambda value: value / 100)
WORDS = st.integers(0, 0xFFFFFFFF)
FORMATS = st.builds(
    lambda channels, rate, bits: PcmFormat(channels, rate, bits, bits),
    st.integers(1, 24),
    st.integers(1, 192_000),
    st.sampled_from([16, 24]),
)
EXTENSIONS = st.builds(
    BroadcastExtension,
    description=st.text(ASCII, max_size=256),
    originator=st.text(ASCII, max_size=32),
    originator_reference=st.text(ASCII, max_size=32),
    origination_date=st.just("") | st.dates(dt.date(1, 1, 1)).map(dt.date.isoformat),
    origination_time=st.just("") | st.times().map(lambda time: time.strftime("%H:%M:%S")),
    time_reference=st.integers(0, (1 << 64) - 1),
    umid=st.just(b"")
    | st.binary(min_size=32, max_size=64).filter(lambda umid: len(umid) in (32, 64) and umid[-1]),
    loudness=st.builds(Loudness, HUNDREDTHS, HUNDREDTHS, HUNDREDTHS, HUNDREDTHS, HUNDREDTHS),
    coding_history=st.lists(st.text(ASCII, max_size=40).map("{}\r\n".format), max_size=4).map("".join),
)
SHEETS = st.builds(
    TrackSheet,
    project=XML,
    tape=XML,
    track_name=XML,
    channel_index=st.integers(1, 128),
    frame_rate=st.sampled_from([Fraction(24), Fraction(25), Fraction(30000, 1001), Fraction(30)]),
    drop_frame=st.booleans(),
    sample_rate=st.integers(1, 192_000),
    bit_depth=st.sampled_from([16, 24]),
    start_sample=st.integers(0, (1 << 64) - 1),
    note=XML,
    file_uid=XML,
)
MARKERS = st.lists(st.builds(Marker, WORDS, WORDS, st.text(ASCII), st.text(ASCII)), min_size=1, max_size=9)


@given(st.binary(max_size=200), st.sampled_from([16, 24]))
def test_any_bytes_are_samples_and_back(data: bytes, bits: int) -> None:
    """Whole samples come back from their numbers, and the numbers are those of Python's own integers."""
    width = bits // 8
    data = data[: len(data) // width * width]
    samples = unpack_samples(data, bits)
    pieces = [data[place : place + width] for place in range(0, len(data), width)]
    assert samples.tolist() == [int.from_bytes(piece, "little", signed=True) for piece in pieces]
    assert pack_samples(samples, bits) == data
    assert np.array_equal(unpack_samples(memoryview(data), bits), samples)


@given(FORMATS)
def test_a_format_comes_back(pcm: PcmFormat) -> None:
    """Every format that is written is read as the same."""
    assert parse_format(encode_format(pcm)) == pcm


@given(EXTENSIONS)
def test_a_broadcast_extension_comes_back(extension: BroadcastExtension) -> None:
    """Every record inside its limits is read as it was written, from an even payload."""
    payload = encode_bext(extension)
    assert len(payload) % 2 == 0
    assert decode_bext(payload) == extension


@given(SHEETS)
def test_a_track_sheet_comes_back(sheet: TrackSheet) -> None:
    """Every text that XML can carry is read as it was written, from an even payload."""
    payload = encode_ixml(sheet)
    assert len(payload) % 2 == 0
    assert decode_ixml(payload) == sheet


@given(MARKERS)
def test_markers_come_back(markers: list[Marker]) -> None:
    """Every marker is read as it was written, from even payloads."""
    (_, cue), (_, adtl) = encode_markers(markers)
    assert len(cue) % 2 == len(adtl) % 2 == 0
    assert decode_markers(cue, adtl) == tuple(markers)


@given(st.dictionaries(st.text(ASCII, min_size=4, max_size=4), st.text(ASCII, min_size=1), max_size=6))
def test_info_comes_back(texts: dict[str, str]) -> None:
    """Every text under every key is read as it was written."""
    assert decode_info(encode_info(texts)) == texts


@given(FORMATS, st.integers(0, 50), st.lists(st.binary(max_size=20), max_size=4), st.booleans())
def test_a_written_file_has_no_faults(pcm: PcmFormat, frames: int, payloads: list[bytes], long: bool) -> None:  # noqa: FBT001 -- hypothesis gives it
    """Header, samples and trailer make a file that reads back whole, with all its chunks, in either form."""
    chunks = [(f"c{place:03}", payload + bytes(len(payload) % 2)) for place, payload in enumerate(payloads)]
    header = wave_header(pcm, frames, chunks, largest_riff=0 if long else 0xFFFFFFFE)
    assert len(header) == len(wave_header(pcm, 0, chunks))
    content = header + bytes(frames * pcm.block_align) + wave_trailer(pcm, frames)
    info = read_info(io.BytesIO(content))
    assert (info.format, info.frames, info.data_start, info.faults) == (pcm, frames, len(header), ())
    found = {chunk.name: content[chunk.start : chunk.end] for chunk in info.chunk_map.chunks}
    assert chunks == [(name, found[name]) for name, _ in chunks]


@given(st.text())
@example("\u1e9b\u0323\u2126\u00bd\u0130")
def test_transliteration_gives_ascii_and_settles(text: str) -> None:
    """The result is printable ASCII with line ends, and transliterating it again changes nothing."""
    result = transliterate(text)
    assert all(" " <= character <= "~" or character in "\r\n" for character in result)
    assert transliterate(result) == result


@given(st.text(), st.integers(0, 64))
def test_fitted_fields_fit(text: str, limit: int) -> None:
    """A fitted text is on one line, inside the limit, and the beginning of what fits without a limit."""
    fitted = fit_field(text, limit)
    assert len(fitted.encode("ascii")) <= limit
    assert fitted.isprintable()
    assert fit_field(text, 10_000).startswith(fitted)
