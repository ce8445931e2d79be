"""Stretches that no pass has right as a whole, though each of their samples is right in some pass.

All positions are timeline samples.
"""

from __future__ import annotations

from functools import reduce
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.findings import Lost, Woven, flawed_ranges
from assembler.aligner.records.limits import BRIDGE_SAMPLES, MOST_GAP_SAMPLES
from assembler.aligner.records.ranges import common, merged, range_around, ranges_of, without
from assembler.aligner.records.runs import runs_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.concealment.reel import Comparison, LostSamples
    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools

MEANS = "means"


def weave(comparison: Comparison, lost: Sequence[LostSamples], flaws: Sequence[FoundFlaw]) -> list[Woven]:
    """Return the stretches of a track that can be rebuilt sample by sample.

    Args:
        comparison: the passes of the track.
        lost: what its passes lost, sample by sample.
        flaws: of the track, all kinds.
    """
    passes, track = comparison.passes, comparison.track
    flawed = {one.name: flawed_ranges(flaws, one.name) for one in passes}
    gone = [flaw for flaw in flaws if flaw.kind != MEANS]
    wholly = {one.name: flawed_ranges(gone, one.name) for one in passes}
    wanted = _flawed_in_all({one.name: merged(one.covered(track)) for one in passes}, flawed)
    woven: list[Woven] = []
    for stretch in lost:
        start, end = stretch.place
        inside = [
            (part, names) for names, places in wanted.items() for part in common(places, [(start, end)])
        ]
        if not inside:
            continue
        masks = dict(zip(comparison.names, stretch.masks(), strict=True))
        for name, mask in masks.items():
            # Of losses that were seen without a witness nobody knows which samples they took.
            told = ranges_of(mask, offset=start, bridge=MOST_GAP_SAMPLES)
            unknown = without(common(flawed[name], [(start, end)]), told)
            long = [place for place in unknown if place[1] - place[0] > BRIDGE_SAMPLES]
            for low, high in [*long, *common(wholly[name], [(start, end)])]:
                mask[low - start : high - start] = True
        for (low, high), names in inside:
            woven += _stretches(track, {name: masks[name][low - start : high - start] for name in names}, low)
    return woven


def _flawed_in_all(
    covered: Mapping[str, Sequence[Range]], flawed: Mapping[str, Sequence[Range]]
) -> dict[tuple[str, ...], list[Range]]:
    """Return where several passes, by their names, hold samples and each of these is flawed."""
    edges = sorted({edge for ranges in covered.values() for place in ranges for edge in place})
    found: dict[tuple[str, ...], list[Range]] = {}
    for piece in pairwise(edges):
        names = tuple(name for name, ranges in covered.items() if range_around(ranges, piece))
        if len(names) > 1:
            places = reduce(common, (flawed[name] for name in names), [piece])
            found.setdefault(names, []).extend(places)
    return found


def _stretches(track: int, lost: Mapping[str, Bools], at: int) -> list[Woven]:
    """Return the stretches in which each sample is kept by some pass, and some pass lost one."""
    kept = ~np.logical_and.reduce(list(lost.values()))
    found = []
    for start, end in ranges_of(kept):
        parts = {name: own[start:end] for name, own in lost.items()}
        if any(own.any() for own in parts.values()):
            found.append(
                Woven(
                    track,
                    at + start,
                    at + end,
                    tuple(Lost(name, tuple(runs_of(np.flatnonzero(own)))) for name, own in parts.items()),
                )
            )
    return found
