"""Blocks that stand once more right behind themselves, to the sample: a buffer written twice, on one track or on all.

What is periodic repeats more than once, and is left out. A sampler that loops once, or plays each grain twice, makes
such blocks as well: whoever asks has to tell.

Samples are ``int32``, shape ``(samples,)``; positions count from the first of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from assembler.aligner.records.limits import CHANCE_SAMPLES, HALF, LEAST_WITNESSES, NEAR_SAMPLES
from assembler.aligner.records.ranges import pieces_of
from assembler.aligner.sound.levels import HASH_FACTOR
from assembler.aligner.sound.limits import PERIODS_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s, Int64s, UInt64s


class Copy(NamedTuple):
    """A block that stands right behind itself: the second one, and how far behind the first, in samples."""

    start: int
    end: int
    lag: int


def checksum(tracks: Sequence[Int32s]) -> Int32s:
    """Return one word for the samples that all tracks hold at once: equal where all of them are."""
    words = np.zeros(tracks[0].size, np.uint32)
    for number, samples in enumerate(tracks):
        factor = (2 * number + 1) * int(HASH_FACTOR) & 0xFFFFFFFF
        words += samples.view(np.uint32) * np.uint32(factor)
    return words.view(np.int32)


def sounding_in(tracks: Sequence[Int32s], block: slice, *beside: slice) -> list[Int32s]:
    """Return the tracks that sound in a block, and beside it; none where fewer than three of them differ in it.

    Tracks that are the same are one witness, and a sequencer plays on few.
    """
    sounding = [
        one for one in tracks if all(np.mean(np.diff(one[part]) != 0) >= HALF for part in (block, *beside))
    ]
    return sounding if len({one[block].tobytes() for one in sounding}) >= LEAST_WITNESSES else []


def standing_twice(samples: Int32s, least: int) -> list[Copy]:
    """Return blocks that stand once more right behind themselves.

    Args:
        samples: of a track, or of all tracks as ``checksum`` has them.
        least: samples of the shortest block.
    """
    found: list[Copy] = []
    for lag, at in _likely_repeats(samples, least):
        if any(one.start <= at < one.end for one in found):
            continue
        before = max(lag, at - lag - CHANCE_SAMPLES)
        differs = np.flatnonzero(samples[before:at] != samples[before - lag : at - lag])
        behind = samples[at : at + lag + CHANCE_SAMPLES]
        ends = np.flatnonzero(behind != samples[at - lag : at - lag + behind.size])
        if not ends.size or (before == lag and not differs.size):
            continue
        start, end = before + (int(differs[-1]) + 1 if differs.size else 0), at + int(ends[0])
        # At either end a few samples more may be equal by chance.
        if lag - NEAR_SAMPLES <= end - start < lag + CHANCE_SAMPLES:
            found.append(Copy(start, end, lag))
    return found


def _likely_repeats(samples: Int32s, least: int) -> list[tuple[int, int]]:
    """Return lags, and a place for each, at which short pieces stand a second time, of those that are looked at."""
    pieces = [
        _telling_hashes(samples, piece, least // 8)
        for piece in pieces_of([(0, samples.size - CHANCE_SAMPLES - 1)], 1 << 14)
    ]
    if not pieces:
        return []
    chosen, hashed = (np.concatenate(found) for found in zip(*pieces, strict=True))
    order = np.argsort(hashed, kind="stable")
    same = hashed[order[1:]] == hashed[order[:-1]]
    order = chosen[order]
    lags, places = (order[1:] - order[:-1])[same], order[1:][same]
    fits = (lags >= least) & (lags <= PERIODS_SAMPLES)
    return sorted(set(zip(lags[fits].tolist(), places[fits].tolist(), strict=True)), key=lambda row: row[1])


def _telling_hashes(samples: Int32s, piece: Range, thinned: int) -> tuple[Int64s, UInt64s]:
    """Return the places of a piece that are looked at, one in so many, and a hash of what stands from each on.

    Which places these are depends on what stands there, so that both copies are.
    """
    first, behind = piece
    wide = samples[first : behind + CHANCE_SAMPLES + 1].astype(np.uint64)
    hashed = np.zeros(behind - first, np.uint64)
    for index in range(CHANCE_SAMPLES + 1):
        np.bitwise_xor(hashed, wide[index : index + hashed.size], out=hashed)
        np.multiply(hashed, HASH_FACTOR, out=hashed)
    chosen = np.flatnonzero((hashed >> np.uint64(40)) % np.uint64(thinned) == 0)
    chosen = chosen[wide[chosen] != wide[chosen + 1]]
    return chosen + first, hashed[chosen]
