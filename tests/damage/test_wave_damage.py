"""Cut, flipped and invented files: a plain error or a readable file, never anything else."""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from assembler.errors import WaveError
from assembler.wave import (
    BroadcastExtension,
    Marker,
    PcmFormat,
    WaveFile,
    WaveInfo,
    decode_bext,
    decode_info,
    decode_ixml,
    decode_markers,
    encode_bext,
    encode_info,
    encode_markers,
    pack_samples,
    parse_format,
    read_info,
    wave_header,
    wave_trailer,
)

if TYPE_CHECKING:
    from pathlib import Path

FRAMES = 51
PCM = PcmFormat(3, 48000, 24, 24)
SAMPLES = (np.arange(FRAMES * 3, dtype=np.int32).reshape(FRAMES, 3) - 70) * 31_013
CHUNKS = [
    ("bext", encode_bext(BroadcastExtension(description="reel A"))),
    *encode_markers([Marker(4, 2, "join")]),
    ("LIST", encode_info({"INAM": "title"})),
]


def whole_file(largest_riff: int) -> bytes:
    """Return a sound file with every kind of chunk."""
    header = wave_header(PCM, FRAMES, CHUNKS, largest_riff=largest_riff)
    return header + pack_samples(SAMPLES, 24) + wave_trailer(PCM, FRAMES)


RIFF = whole_file(0xFFFFFFFE)
RF64 = whole_file(0)
HEADER_SIZE = len(wave_header(PCM, FRAMES, CHUNKS))


def check_words(error: WaveError) -> None:
    """Check that an error is one or two short lines."""
    assert 0 < len(str(error)) < 300
    assert str(error).count("\n") <= 1


def read_or_refuse(content: bytes) -> WaveInfo | None:
    """Return what a file says, None if it is refused; check what holds for every file that is read."""
    try:
        info = read_info(io.BytesIO(content))
    except WaveError as error:
        check_words(error)
        return None
    assert info.data_start + info.frames * info.format.block_align <= len(content)
    assert all(chunk.end <= len(content) for chunk in info.chunk_map.chunks)
    return info


@pytest.mark.parametrize("content", [RIFF, RF64], ids=["RIFF", "RF64"])
def test_every_cut_is_told_or_refused(content: bytes) -> None:
    """Cut at any byte: refused inside the header; behind it whole frames are counted and the cut is told."""
    for length in range(len(content) - 1):
        info = read_or_refuse(content[:length])
        if info is None:
            assert length < HEADER_SIZE
        else:
            assert length >= HEADER_SIZE
            assert info.frames == (length - HEADER_SIZE) // PCM.block_align
            assert info.faults


@pytest.mark.parametrize("content", [RIFF, RF64], ids=["RIFF", "RF64"])
def test_every_flipped_bit_of_the_header_is_survived(content: bytes) -> None:
    """Any single wrong bit before the samples gives a refusal or a file that stays inside its bytes."""
    for place in range(HEADER_SIZE):
        for bit in range(8):
            flipped = bytearray(content)
            flipped[place] ^= 1 << bit
            read_or_refuse(bytes(flipped))


@given(
    st.sampled_from([RIFF, RF64]),
    st.lists(st.tuples(st.integers(0, len(RIFF) - 1), st.binary(min_size=1, max_size=8)), max_size=6),
    st.integers(0, len(RIFF)),
)
@settings(max_examples=300)
def test_any_mutation_is_survived(content: bytes, patches: list[tuple[int, bytes]], length: int) -> None:
    """Overwritten anywhere and cut anywhere: never anything but a refusal or a consistent file."""
    mutated = bytearray(content)
    for place, patch in patches:
        mutated[place : place + len(patch)] = patch
    read_or_refuse(bytes(mutated[:length]))


@given(st.sampled_from([b"RIFF", b"RF64", b"BW64"]), st.binary(max_size=4), st.binary(max_size=400))
@example(b"RIFF", b"\xff\xff\xff\xff", b"\xff" * 400)
@example(b"RF64", b"\xff\xff\xff\xff", b"ds64\x1c\0\0\0" + b"\xff" * 28 + b"data\xff\xff\xff\xff")
def test_any_bytes_after_the_form_are_survived(name: bytes, size: bytes, rest: bytes) -> None:
    """Whatever follows a form header is refused or read consistently."""
    read_or_refuse(name + size.ljust(4, b"\0") + b"WAVE" + rest)


@pytest.mark.parametrize("content", [b"", b"\0" * 4096, b"\xff" * 4096, b"RIFF" * 1024], ids=repr)
def test_files_of_nothing_are_refused_with_their_path(tmp_path: Path, content: bytes) -> None:
    """Empty, all zero, all ones, one word over and over: one plain line that begins with the path."""
    path = tmp_path / "01.wav"
    path.write_bytes(content)
    with pytest.raises(WaveError) as caught:
        WaveFile(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert caught.value.path == path


def test_a_file_of_nothing_but_chunk_headers_is_bounded() -> None:
    """A million empty chunks are looked at up to the limit, and no further."""

    class Counted(io.BytesIO):
        reads = 0

        def read(self, size: int | None = -1, /) -> bytes:
            Counted.reads += 1
            return super().read(size)

    body = b"abcd\0\0\0\0" * 1_000_000
    with pytest.raises(WaveError, match="no data chunk"):
        read_info(Counted(b"RIFF" + struct.pack("<I", len(body) + 4) + b"WAVE" + body))
    assert Counted.reads < 20_000


@given(st.binary(max_size=800))
@settings(suppress_health_check=[HealthCheck.too_slow])
def test_any_payload_is_survived(payload: bytes) -> None:
    """Each chunk reader refuses or reads whatever bytes it is given."""
    for decode in (
        parse_format,
        decode_bext,
        decode_ixml,
        decode_info,
        lambda data: decode_info(b"INFO" + data),
        lambda data: decode_markers(data, b""),
        lambda data: decode_markers(encode_markers([Marker(1, 1, "a")])[0][1], b"adtl" + data),
    ):
        try:
            decode(payload)
        except WaveError as error:
            check_words(error)


def test_samples_survive_damage_that_is_not_theirs(tmp_path: Path) -> None:
    """Wrong form and data sizes of a recorder that crashed: every sample is read, and the mending is told."""
    crashed = bytearray(RIFF)
    crashed[4:8] = crashed[HEADER_SIZE - 4 : HEADER_SIZE] = bytes(4)
    path = tmp_path / "a.wav"
    path.write_bytes(bytes(crashed))
    with WaveFile(path) as file:
        assert np.array_equal(file.read(0, FRAMES), SAMPLES)
        assert len(file.info.faults) >= 2
