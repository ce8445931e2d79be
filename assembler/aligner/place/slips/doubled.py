"""Samples captured twice where no other pass bears witness: all tracks of a pass hold a block once more, and go on.

What was written in the place of other sound breaks off at both ends; what came twice does so only where it begins
again, and runs on behind it, as it ran into the first. Where that is not known, beside a mute, a level or an end, or in
noise, which nothing foretells, and where fewer than three tracks sound, nothing is said. A buffer that came three times
is not looked for. What comes again and again is how a sampler plays.

Positions are samples of the pass itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.place.limits import LEAST_SURPRISE
from assembler.aligner.place.slips.splices import splice_surprise
from assembler.aligner.records.limits import (
    BRIDGE_SAMPLES,
    CLEARLY,
    FEW,
    INSTANT_SAMPLES,
    NEAR_SAMPLES,
    READ_SAMPLES,
)
from assembler.aligner.records.ranges import pieces_of, without
from assembler.aligner.records.timemap import Slip
from assembler.aligner.sound.copies import Copy, checksum, sounding_in, standing_twice
from assembler.aligner.sound.limits import FIT_SAMPLES, MOST_ALIKE, PERIODS_SAMPLES

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
    margin = 2 * PERIODS_SAMPLES + FIT_SAMPLES
    for low, high in pieces_of(without([(0, reader.length)], proved), READ_SAMPLES):
        first, count = low - margin, high - low + 2 * margin
        tracks = [reader.read(track, first, count) for track in range(reader.tracks)]
        for copy in standing_twice(checksum(tracks), BRIDGE_SAMPLES):
            at = first + copy.start
            if low <= at < high and _came_twice(tracks, copy):
                found[at] = Slip(at, -copy.lag)
    return [found[at] for at in sorted(found)] if len(found) <= MOST_ALIKE else []


def _came_twice(tracks: Sequence[Int32s], copy: Copy) -> bool:
    """Return whether sound runs into the first of two blocks, and out of the second, and breaks between them."""
    first = copy.start - copy.lag
    beside = slice(first - INSTANT_SAMPLES, first), slice(copy.end, copy.end + INSTANT_SAMPLES)
    sounding = sounding_in(tracks, slice(copy.start, copy.end), *beside)
    if not sounding:
        return False
    reach = copy.lag + 2 * FIT_SAMPLES
    surprise = splice_surprise([one[copy.start - reach : copy.end + reach] for one in sounding])
    into, between, out = (
        float(surprise[at - NEAR_SAMPLES : at + NEAR_SAMPLES + 1].max())
        for at in (reach - copy.lag, reach, reach + copy.lag)
    )
    return between >= CLEARLY * LEAST_SURPRISE and max(into, out) <= FEW * FEW * between
