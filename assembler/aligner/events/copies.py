"""A block played twice on several tracks at once: where one track proves it, the copies on others are told too.

Where another pass is flawed at the same place, a copy of a square wave may look like the better sound: each piece of
such sound stands elsewhere as well. But it hardly ever stands just before itself, for just as many samples as lie
between, and between the same two samples as a copy on another track.

All positions are timeline samples.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import (
    BORDER_SAMPLES,
    LEAST_BLOCK,
    LEAST_EDGES,
    LONGEST_BLOCK,
    MOST_BEYOND,
)
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.limits import CHANCE_SAMPLES
from assembler.aligner.records.ranges import common, merged, ranges_of, without
from assembler.aligner.sound.limits import FIT_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range


def tell_copies(
    passes: Sequence[PlacedPass], tracks: Iterable[int], flaws: Sequence[FoundFlaw]
) -> list[FoundFlaw]:
    """Return the flaws with further copies, and without what was told of passes that agree against one.

    Args:
        passes: of the reel.
        tracks: that are compared, from 0.
        flaws: found, of all passes.
    """
    by_track = {track: [flaw for flaw in flaws if flaw.track == track] for track in tracks}
    for one in passes:
        proved = {
            (flaw.start, flaw.end, flaw.track)
            for flaw in flaws
            if flaw.pass_name == one.name
            and flaw.kind in ("repeat", "disagreement")
            and LEAST_BLOCK <= flaw.end - flaw.start <= LONGEST_BLOCK
        }
        for track, told in by_track.items():
            # Only where others are blamed is there anything to take back or to share.
            blamed = merged((flaw.start, flaw.end) for flaw in told if flaw.pass_name != one.name)
            starts, ends = [start for start, _ in blamed], [end for _, end in blamed]
            places = {(start, end) for start, end, other in proved if other != track}
            for place in sorted(place for place in places if _is_met(place, starts, ends)):
                by_track[track] = _told_at(passes, one, track, place, by_track[track])
    return [flaw for told in by_track.values() for flaw in told]


def _is_met(place: Range, starts: Sequence[int], ends: Sequence[int]) -> bool:
    """Return whether some of many ranges overlaps a place; their borders in order."""
    return bisect_left(starts, place[1]) > bisect_right(ends, place[0])


def _told_at(
    passes: Sequence[PlacedPass], one: PlacedPass, track: int, place: Range, told: list[FoundFlaw]
) -> list[FoundFlaw]:
    """Return a track's flaws, changed where it proves to be a copy in a place in which only others were told flawed."""
    here = [flaw for flaw in told if flaw.start < place[1] and place[0] < flaw.end]
    own = merged((flaw.start, flaw.end) for flaw in here if flaw.pass_name == one.name)
    blamed = merged((flaw.start, flaw.end) for flaw in here if flaw.pass_name != one.name)
    others = [other for other in passes if other is not one and common(other.covered(track), [place])]
    contested = without(common([place], blamed), own)
    if not contested or without([place], one.covered(track)) or not _is_copy(one, track, place):
        return told
    copy = Because(Rule.COPY)
    found = [FoundFlaw(one.name, track, "repeat", *piece, because=copy) for piece in contested]
    agreeing = _agreeing(one, others, track, place)
    cut = [
        replace(flaw, start=start, end=end)
        for flaw in here
        if flaw.pass_name != one.name
        for start, end in without([(flaw.start, flaw.end)], agreeing)
    ]
    kept = [flaw for flaw in told if flaw.pass_name == one.name or flaw not in here]
    return [*kept, *cut, *found]


def _is_copy(one: PlacedPass, track: int, place: Range) -> bool:
    """Return whether a pass holds in a place what stands right before it, for just as many samples."""
    size = place[1] - place[0]
    most = size + BORDER_SAMPLES
    first = place[0] - FIT_SAMPLES
    samples = one.samples(track, first - most, place[1] + FIT_SAMPLES)
    inner = (
        most + FIT_SAMPLES + BORDER_SAMPLES,
        most + FIT_SAMPLES + size - BORDER_SAMPLES,
    )
    if np.count_nonzero(np.diff(samples[slice(*inner)])) < LEAST_EDGES:
        return False
    for lag in range(size - BORDER_SAMPLES, most + 1):
        if not np.array_equal(samples[slice(*inner)], samples[inner[0] - lag : inner[1] - lag]):
            continue
        is_same = samples[lag:] == samples[:-lag]
        block = next(
            (low + lag, high + lag) for low, high in ranges_of(is_same) if low + lag <= inner[0] < high + lag
        )
        if lag <= block[1] - block[0] <= lag + MOST_BEYOND * size:
            return True
    return False


def _agreeing(one: PlacedPass, others: Sequence[PlacedPass], track: int, place: Range) -> list[Range]:
    """Return where in a place several others hold the same, and it is not what the pass holds."""
    whole = [other.samples(track, *place) for other in others if not without([place], other.covered(track))]
    if len(whole) < 2:
        return []
    held = np.sort(np.stack(whole), axis=0)
    is_paired = held[1:] == held[:-1]
    is_against = (is_paired & (held[1:] != one.samples(track, *place))).any(axis=0)
    return [
        (place[0] + low, place[0] + high)
        for low, high in ranges_of(is_paired.any(axis=0), least=CHANCE_SAMPLES + 1)
        if is_against[low:high].any()
    ]
