"""Packed bytes to numbers and back."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.wave import PackedSamples, pack_samples, unpack_samples

# Two's complement, little-endian, worked by hand.
ROWS_16 = [("0000", 0), ("ff7f", 32767), ("0080", -32768), ("ffff", -1)]
ROWS_24 = [("000000", 0), ("ffff7f", 8388607), ("000080", -8388608), ("ffffff", -1), ("503412", 0x123450)]


@pytest.mark.parametrize(("bits", "rows"), [(16, ROWS_16), (24, ROWS_24)])
def test_known_bytes_are_known_numbers(bits: int, rows: list[tuple[str, int]]) -> None:
    """Extremes and signs come out right, in both directions, whatever their neighbours are."""
    data = bytes.fromhex("".join(text for text, _ in rows))
    numbers = [number for _, number in rows]
    assert unpack_samples(data, bits).tolist() == numbers
    assert pack_samples(np.array(numbers, dtype=np.int32), bits) == data


@pytest.mark.parametrize("bits", [16, 24])
def test_nothing_packs_to_nothing(bits: int) -> None:
    """No samples are no bytes, both ways."""
    assert unpack_samples(b"", bits).shape == (0,)
    assert pack_samples(np.empty(0, dtype=np.int32), bits) == b""


def test_frames_are_packed_interleaved() -> None:
    """Shape (n, channels) comes out frame by frame, also from a view that is not contiguous."""
    frames = np.array([[1, 2, 9], [3, 4, 9]], dtype=np.int32)[:, :2]
    assert pack_samples(frames, 16) == bytes.fromhex("0100 0200 0300 0400")


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("before", [[], [7], [7, 256]])
def test_packed_zeros_are_seen_before_they_are_unpacked(bits: int, before: list[int]) -> None:
    """A row of zeros is never missed, whatever stands beside it; one is shorter by two, beside bytes that are zero."""
    for zeros in (0, 1, 13, 15, 16, 40):
        row = np.array([*before, *[0] * zeros, 256, 9], np.int32)
        assert PackedSamples(pack_samples(row, bits), bits).has_zeros(15) == (zeros >= 15)


def test_unpacked_samples_may_be_written_to() -> None:
    """The result is a new array and no view of the bytes."""
    data = bytes(6)
    unpack_samples(data, 16)[0] = 5
    assert data == bytes(6)


@pytest.mark.parametrize(
    ("value", "bits"), [(32768, 16), (-32769, 16), (8388608, 24), (-8388609, 24), (-(1 << 31), 24)]
)
def test_a_sample_that_does_not_fit_is_named(value: int, bits: int) -> None:
    """A value outside the word length raises: it is never wrapped round."""
    with pytest.raises(ValueError, match=str(value)):
        pack_samples(np.array([0, value, 0], dtype=np.int32), bits)


def test_half_a_sample_is_refused() -> None:
    """Bytes that end inside a sample raise."""
    with pytest.raises(ValueError, match="7 bytes"):
        unpack_samples(bytes(7), 24)


@pytest.mark.parametrize("bits", [8, 20, 32])
def test_other_containers_are_refused(bits: int) -> None:
    """Only 16 and 24 bit containers are known."""
    with pytest.raises(ValueError, match=f"{bits} bits"):
        unpack_samples(bytes(12), bits)
    with pytest.raises(ValueError, match=f"{bits} bits"):
        pack_samples(np.zeros(1, dtype=np.int32), bits)
