"""Idle ends of passes: digital silence before a machine locks and after it stops. Nothing was played there.

Silence at an end of a pass is the machine's own where no timecode runs in it, or where no other pass has begun to sound
or still does. Where timecode runs and another pass is in the middle of its sound, silence is the tape's, or a mute.
Positions are timeline samples unless said otherwise.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import READ_SAMPLES
from assembler.aligner.records.ranges import common, merged, without
from assembler.aligner.records.timemap import TimeMap
from assembler.timecode import frame_rate

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.importer import ImportedPass
    from assembler.sheet import Session


def without_idle(reel: ExaminedReel, imported: Sequence[ImportedPass], session: Session) -> ExaminedReel:
    """Return a reel, not compared yet, that knows where its passes are idle.

    What lies there beside the sound of another pass is as if the pass had never held it, so that it is no flaw.
    """
    tracks = [track for track, name in enumerate(reel.reel.tracks) if name]
    reaches = {one.name: _reach(one, tracks) for one in reel.passes}
    sounds = {one.name: _sounding(one, tracks, reaches[one.name]) for one in reel.passes}
    logged = {one.name: _timed(one, session) for one in imported}
    idle: dict[str, tuple[Range, ...]] = {}
    passes = []
    for one in reel.passes:
        sound = sounds[one.name]
        if sound is None:
            passes.append(one)
            continue
        silent = without([reaches[one.name]], [sound])
        others = merged(place for name, place in sounds.items() if name != one.name and place is not None)
        untimed = _untimed(reel.maps[one.name], logged[one.name], silent, session)
        idle[one.name] = tuple(merged([*without(silent, others), *untimed]))
        passes.append(_cut(one, sound, common(untimed, others)))
    return replace(reel, passes=tuple(passes), idle={name: ranges for name, ranges in idle.items() if ranges})


def _reach(one: PlacedPass, tracks: Iterable[int]) -> Range:
    covered = merged(piece for track in tracks for piece in one.covered(track))
    return (covered[0][0], covered[-1][1]) if covered else (0, 0)


def _sounding(one: PlacedPass, tracks: Sequence[int], reach: Range) -> Range | None:
    """Return from the first to after the last sample of a pass that is not zero on some track; None for silence."""
    for low in range(reach[0], reach[1], READ_SAMPLES):
        ahead = _loud(one, tracks, low, min(reach[1], low + READ_SAMPLES))
        if ahead is not None:
            break
    else:
        return None
    for high in range(reach[1], reach[0], -READ_SAMPLES):
        behind = _loud(one, tracks, max(reach[0], high - READ_SAMPLES), high)
        if behind is not None:
            return ahead[0], behind[1]
    return None


def _loud(one: PlacedPass, tracks: Sequence[int], low: int, high: int) -> Range | None:
    found = [np.flatnonzero(one.samples(track, low, high)) for track in tracks]
    ends = [(int(places[0]), int(places[-1]) + 1) for places in found if places.size]
    return (low + min(a for a, _ in ends), low + max(b for _, b in ends)) if ends else None


def _timed(one: ImportedPass, session: Session) -> Range | None:
    """Return the pass samples between which its log runs; None where it has none."""
    clock = one.position.clock
    if clock is None:
        return None
    scale = session.sample_rate / clock.rate_ratio
    return round(clock.stretches[0].log_start * scale), round(clock.stretches[-1].log_end * scale)


def _untimed(
    time_map: TimeMap, timed: Range | None, silent: Sequence[Range], session: Session
) -> list[Range]:
    """Return where a pass is silent at an end and no timecode runs."""
    if timed is None:
        return []
    runs = merged(time_map.timeline_ranges(*timed))
    # A reading takes two frames, and the one under way when timecode comes or goes may be lost as well.
    doubt = round(4 * session.sample_rate / frame_rate(session.frame_rate).exact)
    found = []
    for place in silent:
        left = without([place], runs)
        size = sum(end - start for start, end in left)
        if size > doubt:
            found += [place] if place[1] - place[0] - size <= doubt else left
    return found


def _cut(one: PlacedPass, sound: Range, barred: Sequence[Range]) -> PlacedPass:
    """Return a pass without what is barred at its ends, and what lies beyond."""
    low = max((end for start, end in barred if end <= sound[0]), default=None)
    high = min((start for start, end in barred if start >= sound[1]), default=None)
    if low is None and high is None:
        return one
    maps = []
    for own in one.maps:
        if not own.stretches:
            maps.append(own)
            continue
        first, last = own.start if low is None else low, own.end if high is None else high
        maps.append(TimeMap(own.covering(first, last), own.doubtful))
    return replace(one, maps=tuple(maps))
