"""Samples captured twice where no other pass bears witness: all tracks of a pass hold a block once more, and go on.

What was written in the place of other sound breaks off at both ends; what came twice does so only where it begins
again, and runs on behind it. Noise tells neither, and is left as it is.

Positions are samples of the pass itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.limits import LEAST_SURPRISE
from assembler.aligner.place.slips.splices import splice_surprise
from assembler.aligner.records.limits import (
    BRIDGE_SAMPLES,
    CLEARLY,
    HALF,
    LEAST_TRACKS,
    NEAR_SAMPLES,
    READ_SAMPLES,
)
from assembler.aligner.records.ranges import pieces_of, without
from assembler.aligner.records.timemap import Slip
from assembler.aligner.sound.limits import EDGE_SAMPLES, FIT_SAMPLES, LARGEST_LAG
from assembler.aligner.sound.repeats.copies import Copy, checksum, standing_twice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


def doubled_slips(reader: TrackReader, proved: Sequence[Range]) -> list[Slip]:
    """Return where samples of a pass came twice, as its own sound shows it.

    Args:
        reader: of the pass.
        proved: where another pass bears witness: there the two are compared instead.
    """
    found: dict[int, Slip] = {}
    margin = 2 * LARGEST_LAG + FIT_SAMPLES
    for low, high in pieces_of(without([(0, reader.length)], proved), READ_SAMPLES):
        first, count = low - margin, high - low + 2 * margin
        tracks = [reader.read(track, first, count) for track in range(reader.tracks)]
        for copy in standing_twice(checksum(tracks), BRIDGE_SAMPLES):
            at = first + copy.start
            if low <= at < high and _came_twice(tracks, copy):
                found[at] = Slip(at, -copy.lag)
    return [found[at] for at in sorted(found)]


def _came_twice(tracks: Sequence[Int32s], copy: Copy) -> bool:
    """Return whether sound runs into the first of two blocks, and out of the second, and breaks between them.

    A stroke that is played again breaks off as well, but sets in from quiet the first time.
    """
    first = copy.start - copy.lag
    before, twice = slice(first - EDGE_SAMPLES, first), slice(copy.start, copy.end)
    sounding = [one for one in tracks if all(_moves(one[part]) for part in (before, twice))]
    if len(sounding) < LEAST_TRACKS:
        return False
    reach = copy.lag + 2 * FIT_SAMPLES
    surprise = splice_surprise([one[copy.start - reach : copy.end + reach] for one in sounding])
    into, between, out = (
        float(surprise[at - NEAR_SAMPLES : at + NEAR_SAMPLES + 1].max())
        for at in (reach - copy.lag, reach, reach + copy.lag)
    )
    return between >= max(LEAST_SURPRISE, CLEARLY * into, CLEARLY * out)


def _moves(samples: Int32s) -> bool:
    return bool(np.mean(np.diff(samples) != 0) >= HALF)
