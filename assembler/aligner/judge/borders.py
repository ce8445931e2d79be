"""Where a place may be cut: noise sets in or stops, versions begin and cease to agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.structures.structures import level_borders, rough_borders
from assembler.aligner.records.limits import BRIDGE_SAMPLES, CHANCE_SAMPLES, FAR_MORE, LEAST_TELLING
from assembler.aligner.records.ranges import merged, ranges_of, without
from assembler.aligner.sound.limits import PREDICTOR_ORDER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.surroundings import Surroundings
    from assembler.arrays import Bools, Int32s


def borders_of(
    versions: Sequence[Int32s],
    structures: Sequence[Sequence[Structure]],
    differs: Bools,
    place: Range,
    around: Surroundings,
) -> list[int]:
    """Return where noise sets in or stops, and where versions begin and cease to agree for a while."""
    if around.is_stepped:
        # Where levels are held by nature versions agree in every other half period, which is no border.
        return []
    if around.pulse is not None:
        return [
            edge
            for samples in versions
            for found in ranges_of(
                around.pulse.errors(samples[slice(*place)], place[0]) != 0,
                offset=place[0],
                bridge=BRIDGE_SAMPLES,
            )
            for edge in _with_differing(found, differs, place[0])
            if place[0] < edge < place[1]
        ]
    usual = FAR_MORE * around.scales[1] * around.step
    # One that was fitted to silence finds every sound rough.
    linear = [model for model in around.models if model.predictor.size == PREDICTOR_ORDER]
    predictor = max(linear, key=lambda model: float(model.scales.max())).predictor
    borders = [edge for samples in versions for edge in rough_borders(samples, place, predictor, usual)]
    for samples, built in zip(versions, structures, strict=True):
        for start, end in without([place], merged((one.start, one.end) for one in built)):
            borders += level_borders(samples, (start, end), predictor)
    for bridge in (CHANCE_SAMPLES, BRIDGE_SAMPLES):
        ranges = ranges_of(differs, offset=place[0], bridge=bridge)
        if len(ranges) <= LEAST_TELLING:
            break
    return borders + [edge for found in ranges for edge in found if place[0] < edge < place[1]]


def _with_differing(found: Range, differs: Bools, offset: int) -> Range:
    """Return a range with the few samples beside it that differ: those a flaw begins with may fit by chance.

    Where more differ, another flaw goes on beside it.
    """
    agrees = np.flatnonzero(~differs) + offset
    first, behind = np.searchsorted(agrees, found[0]), np.searchsorted(agrees, found[1])
    low = int(agrees[first - 1]) + 1 if first else offset
    high = int(agrees[behind]) if behind < agrees.size else offset + differs.size
    return (
        low if found[0] - low <= CHANCE_SAMPLES else found[0],
        high if high - found[1] <= CHANCE_SAMPLES else found[1],
    )
