"""Each pass as the edit tells of it: its maps, its flaws and slips, and which of them are cured.

Positions are timeline samples unless said otherwise.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.records.because import SLIPPED, stronger
from assembler.aligner.records.edit import AlignedPass, PassFlaw, Uncured
from assembler.aligner.records.limits import BRIDGE_SAMPLES
from assembler.aligner.records.ranges import common, merged

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.aligner.records.timemap import TimeMap
    from assembler.importer import ImportedPass


def aligned_pass(
    one: ImportedPass, reels: Sequence[ExaminedReel], uncured: Sequence[Uncured], start: int
) -> AlignedPass:
    """Return a pass as it takes part in the set, with its flaws."""
    reel = next(reel for reel in reels if reel.name == one.reel)
    time_map = reel.maps.get(one.name)
    if time_map is None:
        return AlignedPass(one, None, ())
    open_places = _open_places(reel, uncured, start)
    flaws = []
    for flaw in reel.findings.flaws:
        if flaw.pass_name == one.name:
            cured = not common(open_places.get(flaw.track, []), [(flaw.start, flaw.end)])
            # What was never recorded is neither right nor wrong.
            recorded = reel.recorded(flaw.track, flaw.start, flaw.end)
            ranges = [piece for place in recorded for piece in time_map.pass_ranges(*place)]
            flaws += [
                PassFlaw(flaw.kind, low, high, (flaw.track,), cured, because=flaw.because)
                for low, high in ranges
            ]
    told = _grouped(flaws + _slip_flaws(one, time_map, open_places))
    return AlignedPass(one, time_map, tuple(told), tuple(reel.idle.get(one.name, ())))


def _slip_flaws(
    one: ImportedPass, time_map: TimeMap, open_places: Mapping[int, list[Range]]
) -> list[PassFlaw]:
    tracks = tuple(range(one.audio.tracks))
    found = []
    for before, after in pairwise(time_map.stretches):
        gap = [(before.timeline_end, after.timeline_start)]
        cured = not any(common(places, gap) for places in open_places.values())
        samples, at = after.shift - before.shift, after.pass_start
        found.append(PassFlaw("slip", at, at, tracks, cured, samples, because=SLIPPED))
    return found


def _open_places(reel: ExaminedReel, uncured: Sequence[Uncured], start: int) -> dict[int, list[Range]]:
    """Return, for each tape track of a reel, the timeline ranges that no pass is known to have right."""
    places: dict[int, list[Range]] = {}
    for place in uncured:
        if place.reel == reel.name:
            ranges = places.setdefault(place.track.tape_tracks[reel.name], [])
            ranges.append((place.start + start, place.end + start))
    for doubt in reel.findings.undecided:
        places.setdefault(doubt.track, []).append((doubt.start, doubt.end))
    return {track: merged(ranges) for track, ranges in places.items()}


def _grouped(flaws: Iterable[PassFlaw]) -> list[PassFlaw]:
    grouped: list[PassFlaw] = []
    near = 0
    for flaw in sorted(flaws, key=lambda f: (f.start, f.end, f.kind)):
        # Groups are in the order of their starts: what begins too early for this flaw does so for all after it.
        while near < len(grouped) and grouped[near].start < flaw.start - BRIDGE_SAMPLES:
            near += 1
        mate = next(
            (
                i
                for i, other in enumerate(grouped[near:], near)
                if other.kind == flaw.kind != "slip"
                and other.cured == flaw.cured
                and abs(other.start - flaw.start) <= BRIDGE_SAMPLES
                and abs(other.end - flaw.end) <= BRIDGE_SAMPLES
                and not set(other.tracks) & set(flaw.tracks)
            ),
            None,
        )
        if mate is None:
            grouped.append(flaw)
            continue
        other = grouped[mate]
        grouped[mate] = replace(
            other,
            start=min(other.start, flaw.start),
            end=max(other.end, flaw.end),
            tracks=tuple(sorted(other.tracks + flaw.tracks)),
            because=stronger(other.because, flaw.because),
        )
    return grouped
