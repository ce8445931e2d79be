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


_BESIDE = 2
"""Samples at an end of a piece of which no bend, or no sample before or after, is known."""


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
    if near is None:
        return _rows_in(samples, step)
    reach = RATE_SAMPLES + _BESIDE
    found = []
    for start, end in merged((max(0, start - reach) // 2 * 2, end + reach) for start, end in near):
        rows = _rows_in(samples[start:end], step)
        found += [Row(row.start + start, row.end + start, row.nats) for row in rows]
    return found


def _rows_in(samples: Int32s, step: int) -> list[Row]:
    if samples.size < 2 * LEAST_MEMBERS + 2:
        return []
    bend = _bend(samples)
    likely = np.abs(bend) <= step
    likely[1:] |= samples[1:] == samples[:-1]
    parities = [parity for parity in (0, 1) if _has_full_block(likely[parity::2])]
    if not parities:
        return []
    is_even = bend == 0
    down, up = is_even | (bend == step), is_even | (bend == -step)
    above = np.zeros(samples.size, np.bool_)
    above[1:-1] = samples[:-2] + samples[2:] > 0
    found: list[Row] = []
    # Of two lost samples the first holds the last good one, and the second is a mean.
    held = np.append([False], samples[1:] == samples[:-1])
    for means in (down, up, np.where(above, down, up)):
        marked = means | (held & np.append(means[1:], [False]))
        for parity in parities:
            if _has_full_block(marked[parity::2]):
                found += _rows(marked, parity)
    return _likeliest(found)


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


def _rows(means: Bools, parity: int) -> list[Row]:
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
