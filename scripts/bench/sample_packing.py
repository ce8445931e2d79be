"""Compares ways to unpack and pack 24-bit samples, and prints nanoseconds per sample.

Sizes: 64 Ki, 1 Mi and 8 Mi samples (inside the caches, around them, past them). Each figure is the best of
    several
runs. Run: ``python scripts/bench/sample_packing.py``.

What it decided (numpy 2.4, two-core virtual machine, 1 Mi samples): shifted words unpack at 0.4 ns a sample
where padding bytes takes 4.5 and adding byte planes 1.3; packing by byte planes takes 0.9 where slicing bytes
takes 4.3. Packing by overlapping words (0.4) was left out of the package: it is right only if elements are
written in order, which numpy does not promise.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from assembler.wave import pack_samples, unpack_samples

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Int32s

SIZES = (1 << 16, 1 << 20, 1 << 23)
SAMPLES_IN_ALL = 1 << 25

Given = TypeVar("Given", bytes, "Int32s")
Got = TypeVar("Got", bytes, "Int32s")


def unpack_by_padding(data: bytes) -> Int32s:
    """Give each sample a fourth, lowest byte, then shift it out."""
    padded = np.zeros((len(data) // 3, 4), dtype=np.uint8)
    padded[:, 1:] = np.frombuffer(data, dtype=np.uint8).reshape(-1, 3)
    words = padded.view("<i4").reshape(-1)
    words >>= 8
    return words.astype(np.int32, copy=False)


def unpack_by_planes(data: bytes) -> Int32s:
    """Add up the three bytes, the highest one signed."""
    planes = np.frombuffer(data, dtype=np.uint8).reshape(-1, 3)
    samples = planes[:, 2].view(np.int8).astype(np.int32)
    for place in (1, 0):
        samples <<= 8
        samples |= planes[:, place]
    return samples


def unpack_by_groups(data: bytes) -> Int32s:
    """Make four samples of three words; the length must be a multiple of four samples."""
    first, second, third = np.frombuffer(data, dtype="<u4").reshape(-1, 3).T
    groups = np.empty((len(first), 4), dtype=np.uint32)
    groups[:, 0] = first << 8
    groups[:, 1] = (second << 16) | ((first >> 16) & 0xFF00)
    groups[:, 2] = (third << 24) | ((second >> 8) & 0xFFFF00)
    groups[:, 3] = third & 0xFFFFFF00
    return groups.view(np.int32).reshape(-1) >> 8


def pack_by_slicing(samples: Int32s) -> bytes:
    """Leave out the highest byte of each word."""
    return samples.astype("<i4", copy=False).view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


def pack_by_records(samples: Int32s) -> bytes:
    """Copy a low word and a high byte."""
    packed = np.empty(len(samples), dtype=[("low", "<u2"), ("high", "u1")])
    words = samples.view([("low", "<u2"), ("high", "u1"), ("rest", "u1")])
    packed["low"], packed["high"] = words["low"], words["high"]
    return packed.tobytes()


def pack_by_overlap(samples: Int32s) -> bytes:
    """Write whole words three bytes apart, each over the last one's highest byte."""
    packed = np.empty(3 * len(samples) + 1, dtype=np.uint8)
    np.ndarray(samples.shape, dtype="<i4", buffer=packed.data, strides=(3,))[:] = samples
    return packed[:-1].tobytes()


def row(name: str, convert: Callable[[Given], Got], given: Given, expected: Got, count: int) -> None:
    """Check one way and print its best time of several runs."""
    if not np.array_equal(convert(given), expected):
        raise SystemExit(f"{name}: wrong result")
    times = []
    for _ in range(max(3, SAMPLES_IN_ALL // count)):
        begin = time.perf_counter_ns()
        convert(given)
        times.append(time.perf_counter_ns() - begin)
    print(f"{count:>10}  {name:<18}  {min(times) / count:9.2f}")


def main() -> None:
    """Check that all ways agree, then print the table."""
    unpackers: dict[str, Callable[[bytes], Int32s]] = {
        "package": lambda data: unpack_samples(data, 24),
        "padding": unpack_by_padding,
        "planes": unpack_by_planes,
        "groups": unpack_by_groups,
    }
    packers: dict[str, Callable[[Int32s], bytes]] = {
        "package": lambda samples: pack_samples(samples, 24),
        "slicing": pack_by_slicing,
        "records": pack_by_records,
        "overlap": pack_by_overlap,
    }
    print(f"{'samples':>10}  {'way':<18}  ns/sample")
    for count in SIZES:
        samples = np.random.default_rng(count).integers(-(1 << 23), 1 << 23, count).astype(np.int32)
        data = pack_samples(samples, 24)
        for name, unpack in unpackers.items():
            row(f"unpack, {name}", unpack, data, samples, count)
        for name, pack in packers.items():
            row(f"pack, {name}", pack, samples, data, count)


if __name__ == "__main__":
    main()
