"""Packed PCM bytes to whole numbers and back.

Samples are right-justified two's complement in ``int32``: a 24-bit file gives -8388608 to 8388607. Both
directions run over every sample of a session, so they are written for speed;
``scripts/bench/sample_packing.py`` compares the formulations and says why these were kept.

Source of the layout (little-endian, two's complement): Multimedia Programming Interface and Data
Specifications 1.0 (IBM and Microsoft, 1991), WAVE, "Data Format of the Samples".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Int32s


@dataclass(frozen=True)
class PackedSamples:
    """Samples as a file has them.

    Args:
        data: little-endian samples without gaps.
        container_bits: bits a sample takes, 16 or 24.
    """

    data: bytes
    container_bits: int

    def unpacked(self) -> Int32s:
        """Return the samples: shape (n,), a new array."""
        return unpack_samples(self.data, self.container_bits)

    def has_zeros(self, count: int) -> bool:
        """Return whether so many samples in a row may be zero: no other rows hold as many bytes that are."""
        return bytes(count * self.container_bits // 8) in self.data


def unpack_samples(data: bytes | memoryview, container_bits: int) -> Int32s:
    """Return the samples that packed bytes hold.

    Args:
        data: little-endian samples without gaps, contiguous.
        container_bits: bits a sample takes, 16 or 24.

    Returns:
        Shape (n,), a new array; channels stay interleaved.

    Raises:
        ValueError: another container, or the bytes end inside a sample.

    >>> unpack_samples(bytes.fromhex("503412 ffffff"), 24).tolist()
    [1193040, -1]
    """
    width = _sample_bytes(container_bits)
    count, rest = divmod(len(data), width)
    if rest:
        raise ValueError(f"{len(data)} bytes are not whole samples of {width} bytes")
    if container_bits == 16:
        return np.frombuffer(data, dtype="<i2").astype(np.int32)
    samples = np.empty(count, dtype=np.int32)
    if count:
        # Each 32-bit word read from one byte before its sample has the sample in its upper three bytes, so
        # that one shift drops the neighbour's byte and extends the sign. Only the first sample has no byte
        # before it.
        samples[0] = int.from_bytes(data[:3], "little", signed=True) << 8
        samples[1:] = np.ndarray((count - 1,), dtype="<i4", buffer=data, offset=2, strides=(3,))
        samples >>= 8
    return samples


def pack_samples(samples: Int32s, container_bits: int) -> bytes:
    """Return samples as the bytes of a data chunk.

    Args:
        samples: any shape in C order, so (n, channels) comes out interleaved.
        container_bits: bits a sample is to take, 16 or 24.

    Raises:
        ValueError: another container, or a sample does not fit; the message gives the value. Never cut off
            silently.

    >>> pack_samples(np.array([0x123450, -1], dtype=np.int32), 24).hex(" ", 3)
    '503412 ffffff'
    """
    width = _sample_bytes(container_bits)
    flat = np.ascontiguousarray(samples, dtype="<i4").reshape(-1)
    _check_range(flat, container_bits)
    if container_bits == 16:
        return flat.astype("<i2").tobytes()
    packed = np.empty((len(flat), width), dtype=np.uint8)
    planes = flat.view(np.uint8).reshape(-1, 4)
    for place in range(width):
        packed[:, place] = planes[:, place]
    return packed.tobytes()


def _sample_bytes(container_bits: int) -> int:
    if container_bits not in (16, 24):
        raise ValueError(f"samples of {container_bits} bits; 16 or 24 are known")
    return container_bits // 8


def _check_range(flat: Int32s, container_bits: int) -> None:
    limit = 1 << (container_bits - 1)
    for value in (int(flat.min(initial=0)), int(flat.max(initial=0))):
        if not -limit <= value < limit:
            raise ValueError(f"sample value {value} does not fit into {container_bits} bits")
