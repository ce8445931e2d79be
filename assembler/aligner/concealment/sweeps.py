"""Rows of means that several tracks have at once: all tracks of a tape lie in the same sweeps, so a head takes all.

A sampler that plays a sound an octave lower may make every other sample a mean by itself, on its own track alone.
All positions are timeline samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.concealment.alone import chance_of_means
from assembler.aligner.concealment.limits import FLAW_BRIDGE, LEAST_SHARED, RATE_SAMPLES, TELLING_RATE
from assembler.aligner.records.ranges import common, merged, total, without

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range


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
