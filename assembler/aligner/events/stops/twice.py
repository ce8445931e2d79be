"""Stretches that all tracks of a pass hold once more at once: a buffer written twice.

A recorder that comes too late writes what it wrote before, on all tracks. Loops repeat to the sample as well, but
oftener, not on every track, and not just where another pass holds something else.

All positions are timeline samples.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.stops.stop import Stop
from assembler.aligner.records.limits import BRIDGE_SAMPLES, HALF, LEAST_PROOFS
from assembler.aligner.records.ranges import common, merged, ranges_of, total, without
from assembler.aligner.sound.copies import checksum, sounding_in, standing_twice
from assembler.aligner.sound.limits import LEAST_RUN

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


def find_repeats(
    held: Mapping[int, Sequence[Int32s]],
    covered: Mapping[int, Sequence[Range]],
    silent: Mapping[int, Sequence[Range]],
    low: int,
    tracks: Sequence[int],
) -> dict[int, list[Stop]]:
    """Return where each pass holds on all tracks what it held right before, and no other one does.

    One that sounds there has to differ on several tracks, most of the time. Where none does three tracks that differ
    from each other have to sound: what is played twice is so on fewer.

    Args:
        held: samples of each pass, one array a track, all of one length; the same array where passes hold the same.
        covered: where each pass holds all of these tracks.
        silent: where each pass stands still.
        low: timeline sample of the first one.
        tracks: tape tracks that the arrays are of, from 0.
    """
    heard = {index: without(covered[index], silent.get(index, ())) for index in held}
    differing = {
        pair: _differing(held[pair[0]], held[pair[1]], low) for pair in combinations(sorted(held), 2)
    }
    found: dict[int, list[Stop]] = {}
    for index, own in held.items():
        others = [other for other in held if other != index]
        block = common([(low, low + own[0].size)], covered[index])
        lone = [
            part
            for part in without(block, merged(place for other in others for place in heard[other]))
            if part[1] - part[0] >= BRIDGE_SAMPLES
        ]
        unlike = {
            other: places
            for other in others
            if (places := common(differing[min(index, other), max(index, other)], heard[other]))
        }
        for start, end, _ in standing_twice(checksum(own), BRIDGE_SAMPLES) if lone or unlike else ():
            place = start + low, end + low
            if without([place], covered[index]):
                continue
            if not without([place], lone):
                if sounding_in(own, slice(start, end)):
                    told = frozenset(t for t, one in zip(tracks, own, strict=True) if np.ptp(one[start:end]))
                    found.setdefault(index, []).append(Stop(*place, "repeat", told, is_witnessed=False))
                continue
            for other, places in unlike.items():
                inside = common([place], places)
                if total(inside) >= HALF * (end - start):
                    first, last = inside[0][0], inside[-1][1]
                    each = zip(tracks, own, held[other], strict=True)
                    part = slice(first - low, last - low)
                    told = frozenset(t for t, mine, true in each if (mine[part] != true[part]).any())
                    found.setdefault(index, []).append(Stop(first, last, "repeat", told))
    return found


def _differing(first: Sequence[Int32s], second: Sequence[Int32s], low: int) -> list[Range]:
    """Return where two passes differ on several tracks, for long enough that it may be a buffer."""
    unlike = [(one, other) for one, other in zip(first, second, strict=True) if one is not other]
    if len(unlike) < LEAST_PROOFS:
        return []
    counts = np.zeros(first[0].size, np.int8)
    for one, other in unlike:
        counts += one != other
    return ranges_of(counts >= LEAST_PROOFS, offset=low, bridge=LEAST_RUN, least=BRIDGE_SAMPLES)
