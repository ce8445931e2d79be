"""Blocks of a version of a place that stand twice: played twice by a machine, or by whoever made the sound.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import LEAST_EDGES
from assembler.aligner.flaws.structures.builds import FORETOLD_COPY, STROKE, Structure
from assembler.aligner.records.limits import BRIDGE_SAMPLES, LEAST_TELLING, MOST_TRIED, WINDOW_SAMPLES
from assembler.aligner.sound.levels import HASH_FACTOR

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s, UInt64s


def repeated_blocks(
    samples: Int32s,
    versions: Sequence[Int32s],
    witnesses: Sequence[Int32s],
    agreed: Int32s,
    place: Range,
    open_ends: tuple[bool, bool],
) -> list[Structure]:
    """Return the blocks that stand a second time, but for those that go on outside the place."""
    start, end = place
    if end - start < BRIDGE_SAMPLES:
        return []
    sources = [*versions, *witnesses]
    keys = [_keys(source[:end]) for source in sources]
    found: list[Structure] = []
    for at in _probes(samples, keys, start):
        if any(one.start <= at < one.end for one in found):
            continue
        copies = [
            (*_extent(samples, source, at, at - int(earlier)), at - int(earlier))
            for source, held in zip(sources, keys, strict=True)
            for earlier in np.flatnonzero(held[: at - BRIDGE_SAMPLES + 1] == keys[0][at])[-MOST_TRIED:]
        ]
        first, last, lag = max(copies, key=lambda copy: copy[1] - copy[0])
        outside = (
            slice(first, start - BRIDGE_SAMPLES if not open_ends[0] else 0),
            slice(end + BRIDGE_SAMPLES if not open_ends[1] else last, last),
        )
        goes_on = any(
            # Silence repeats silence.
            np.count_nonzero(np.diff(samples[part])) >= LEAST_TELLING
            and np.array_equal(samples[part], agreed[part])
            for part in outside
        )
        # Strokes of a drum machine, out of silence and into it, are the same again and again; a block that a machine
        # plays twice is cut out anywhere, and stands right behind its original.
        ends = samples[first : first + WINDOW_SAMPLES], samples[last - WINDOW_SAMPLES : last]
        sounding = sum(bool(end.any()) for end in ends)
        is_stroke = sounding == 0 or (sounding == 1 and lag > last - first)
        if last - first >= BRIDGE_SAMPLES and not goes_on:
            original = slice(max(first, start) - lag, min(last, end) - lag)
            is_heard = all(np.array_equal(version[original], samples[original]) for version in versions)
            # Where the original is heard in this version alone, it may be noise thrown in and played twice.
            natural = STROKE if is_heard else FORETOLD_COPY
            found.append(Structure(natural if is_stroke else "repeat", first, last))
    return found


def adjoined_block(samples: Int32s, place: Range, longest: int) -> list[Structure]:
    """Return the block of sound that holds levels which fills a place and stands right before it too, as long.

    Pieces of such sound often stand twice, but hardly ever for just as many samples as lie between them. At either
    end a level may go on for a while by chance.
    """
    start, end = place
    size = end - start
    # Its end may be a rest, as what it lies over.
    sounding = np.flatnonzero(samples[end:])
    rest = int(sounding[0]) if sounding.size else samples.size - end
    if size < WINDOW_SAMPLES or np.count_nonzero(np.diff(samples[start:end])) < LEAST_EDGES:
        return []
    for lag in range(size, min(size + 2 * longest + rest, start) + 1):
        if not np.array_equal(samples[start:end], samples[start - lag : end - lag]):
            continue
        first, last = _extent(samples, samples, start, lag)
        if start - longest < first and last < end + longest + rest and lag <= last - first:
            return [Structure("repeat", first, last, is_adjoined=True)]
    return []


def _keys(samples: Int32s) -> UInt64s:
    """Return a number for each block of a few samples, shape (blocks,): equal ones stand for equal blocks."""
    words = samples.astype(np.uint64)
    short = _mixed([words[index : words.size - LEAST_TELLING + 1 + index] for index in range(LEAST_TELLING)])
    count = samples.size - BRIDGE_SAMPLES + 1
    return _mixed([short[index : index + count] for index in range(0, BRIDGE_SAMPLES, LEAST_TELLING)])


def _probes(samples: Int32s, keys: Sequence[UInt64s], start: int) -> list[int]:
    """Return places of blocks, from ``start`` on, that stood before; where such blocks follow each other, the first.

    The first of the keys are those of this version.
    """
    # A block that another version holds at the same place tells nothing new.
    other = [np.flatnonzero(held != keys[0]) for held in keys[1:]]
    every = np.concatenate([keys[0], *(held[fresh] for held, fresh in zip(keys[1:], other, strict=True))])
    ordered = np.sort(every)
    if not (ordered[1:] == ordered[:-1]).any():
        return []
    places = np.concatenate([np.arange(keys[0].size), *other])
    order = np.lexsort((places, every))
    firsts = np.flatnonzero(np.diff(every[order], prepend=~every[order[0]]))
    # Of equal blocks the first is known; one of this version that stands later is a copy of it.
    earliest = np.repeat(places[order[firsts]], np.diff(np.append(firsts, order.size)))
    own = order < keys[0].size
    later, lags = order[own], order[own] - earliest[own]
    # Levels held repeat themselves and prove nothing.
    telling = (later >= start) & (samples[later] != samples[later + 1]) & (lags >= BRIDGE_SAMPLES)
    by_place = np.argsort(later[telling])
    later, lags = later[telling][by_place], lags[telling][by_place]
    # A sample that is no copy leaves out all blocks that hold it.
    fresh = (np.diff(lags, prepend=-1) != 0) | (np.diff(later, prepend=later[:1]) > BRIDGE_SAMPLES)
    return [int(place) for place in later[fresh][:MOST_TRIED]]


def _mixed(words: Sequence[UInt64s]) -> UInt64s:
    """Return one number for each row of words; equal rows give equal numbers, others hardly ever."""
    keys = np.zeros(words[0].size, np.uint64)
    for column in words:
        keys = (keys ^ column) * HASH_FACTOR
        keys ^= keys >> np.uint64(29)
    return keys


def _extent(samples: Int32s, source: Int32s, at: int, lag: int) -> Range:
    """Return how far a block is the copy of what stands a lag before it."""
    before = np.flatnonzero(samples[lag:at] != source[: at - lag])
    behind = np.flatnonzero(samples[at:] != source[at - lag : samples.size - lag])
    start = lag + int(before[-1]) + 1 if before.size else lag
    end = at + int(behind[0]) if behind.size else samples.size
    return start, end
