"""Rows of means of one parity in a single capture: a head that read nothing, seen without a witness.

A lone sample that is its neighbours' mean proves nothing. Hundreds of one parity in a row, by one way of rounding, in
sound whose other samples hardly ever are, prove it beyond doubt. The evidence is summed over the row, in nats.

All tracks of a tape lie in the same sweeps, so a head takes all: a row is a machine's where several tracks have it at
once. A sampler that plays a sound an octave lower may make every other sample a mean by itself, on its own track alone.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample, but on the timeline where
passes are asked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import (
    ALONE_NATS,
    FLAW_BRIDGE,
    LEAST_MEMBERS,
    LEAST_SHARED,
    RATE_SAMPLES,
    TELLING_RATE,
    WEAK_NATS,
)
from assembler.aligner.records.because import Rule
from assembler.aligner.records.ranges import common, merged, ranges_of, total, without

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Float64s, Int32s, Int64s


@dataclass(frozen=True)
class Row:
    """Samples of one parity that are all means of their neighbours.

    Args:
        start: the first of them.
        end: behind the last of them.
        nats: how unlikely that is by nature.
        rule: what found it.
    """

    start: int
    end: int
    nats: float
    rule: Rule = Rule.MEANS_IN_A_ROW

    @property
    def is_proof(self) -> bool:
        """Whether it needs no witness."""
        return self.nats >= ALONE_NATS


def rows_of_means(samples: Int32s, step: int, near: Sequence[Range] | None = None) -> list[Row]:
    """Return rows of means that sound hardly explains, in order; such of both parities may overlap.

    Args:
        samples: one capture.
        step: one step of the tape's word length, in sample values.
        near: where rows can lie, in order and apart, where that is known: what is farther from them than sound is asked
            of is not looked at.
    """
    found: list[Row] = []
    pieces = [(start, _markings(samples[start:end], step)) for start, end in _pieces(samples.size, near)]
    for way in zip(*(markings for _, markings in pieces), strict=True):
        for parity in (0, 1):
            if any(_has_full_block(marked[parity::2]) for marked in way):
                for (start, _), marked in zip(pieces, way, strict=True):
                    found += _rows(marked, parity, start)
    return _likeliest(found)


def _pieces(size: int, near: Sequence[Range] | None) -> list[Range]:
    """Return what is looked at: whole blocks of either parity, and so far beside them as anything is counted."""
    if size < 2 * LEAST_MEMBERS + 2:
        return []
    if near is None:
        return [(0, size)]
    block, reach = 2 * LEAST_MEMBERS, RATE_SAMPLES + 2  # of the last two no bend, or no neighbour, is known
    return merged((max(0, start - reach) // block * block, min(size, end + reach)) for start, end in near)


def _markings(samples: Int32s, step: int) -> list[Bools]:
    """Return which samples are means, by each way of rounding."""
    bend = _bend(samples)
    is_even = bend == 0
    down, up = is_even | (bend == step), is_even | (bend == -step)
    above = np.zeros(samples.size, np.bool_)
    above[1:-1] = samples[:-2] + samples[2:] > 0
    # Of two lost samples the first holds the last good one, and the second is a mean.
    held = np.append([False], samples[1:] == samples[:-1])
    return [means | (held & np.append(means[1:], [False])) for means in (down, up, np.where(above, down, up))]


def chance_of_means(samples: Int32s, step: int) -> float:
    """Return the share of samples that are means of their neighbours, rounded up or down."""
    return float(np.mean(np.abs(_bend(samples)[1:-1]) <= step)) if samples.size > 2 else 1.0


def _bend(samples: Int32s) -> Int32s:
    bend = np.zeros(samples.size, np.int32)
    inner = bend[1:-1]
    np.add(samples[:-2], samples[2:], out=inner)
    inner -= samples[1:-1]
    inner -= samples[1:-1]
    return bend


def _has_full_block(marked: Bools) -> bool:
    whole = marked.size // LEAST_MEMBERS * LEAST_MEMBERS
    return bool(marked[:whole].reshape(-1, LEAST_MEMBERS).all(axis=1).any())


def _rows(means: Bools, parity: int, offset: int) -> list[Row]:
    ranges = ranges_of(means[parity::2], least=LEAST_MEMBERS)
    if not ranges:
        return []
    sums = np.concatenate(([0], np.cumsum(means)))
    first, last = np.array(ranges, np.int64).T
    start, end, members = parity + 2 * first, parity + 2 * last - 1, last - first
    low, high = np.maximum(0, start - RATE_SAMPLES), np.minimum(means.size, end + RATE_SAMPLES)
    inside = sums[end] - sums[start] - members
    around = sums[start] - sums[low] + sums[high] - sums[end]
    # Sound that is as even between the members, as silence is, is so by nature.
    chance = np.maximum(
        _rates(inside, end - start - members),
        _rates(around, high - end + start - low),
    )
    nats = -members * np.log(chance)
    kept = np.flatnonzero(nats >= WEAK_NATS)
    start, end = start + offset, end + offset
    return [
        Row(*row) for row in zip(start[kept].tolist(), end[kept].tolist(), nats[kept].tolist(), strict=True)
    ]


def _rates(marked: Int64s, seen: Int64s) -> Float64s:
    return (marked + 1) / (seen + 2)


def _likeliest(rows: list[Row]) -> list[Row]:
    """Return the rows in order; of those that one capture shows by several ways of rounding the likeliest."""
    kept: list[Row] = []
    for row in sorted(rows, key=lambda one: -one.nats):
        if not any(row.start < one.end and one.start < row.end for one in kept):
            kept.append(row)
    return sorted(kept, key=lambda one: one.start)


def machine_made(
    one: PlacedPass, rows: Mapping[int, Sequence[Range]], tracks: Sequence[int], step: int
) -> dict[int, list[Range]]:
    """Return the stretches of each track of a pass in which means are a machine's, not the sound's own.

    Args:
        one: the pass.
        rows: where each track has them.
        tracks: tape tracks to look at, from 0.
        step: one step of the tape's word length.
    """
    stretches = {track: merged(places, bridge=FLAW_BRIDGE) for track, places in rows.items()}
    kept: dict[int, list[Range]] = {}
    for track, own in stretches.items():
        others = {other: stretches.get(other, []) for other in tracks if other != track}
        kept[track] = [
            place
            for place in own
            if any(_shares(place, places) for places in others.values())
            or not any(_could_tell(one, other, place, places, step) for other, places in others.items())
        ]
    return kept


def _shares(place: Range, others: Sequence[Range]) -> bool:
    return total(common([place], others)) >= LEAST_SHARED * (place[1] - place[0])


def _could_tell(one: PlacedPass, track: int, place: Range, rows: Sequence[Range], step: int) -> bool:
    """Return whether a track would show lost samples there if it had any."""
    middle = sum(place) // 2
    looked_at = max(place[0], middle - RATE_SAMPLES), min(place[1], middle + RATE_SAMPLES)
    if common([looked_at], rows) or without([looked_at], merged(one.covered(track))):
        return False
    return chance_of_means(one.samples(track, *looked_at), step) < TELLING_RATE
