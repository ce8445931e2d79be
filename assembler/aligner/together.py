"""Lost sync as one pass shows it by itself: the same moment on several tracks, where no other pass bears witness.

What begins and ends at the same samples on three tracks, each of which goes on behind it as before, took all tracks at
once. On a track that shows nothing by itself, since a note begins or ends in it, a level or noise between just these
samples belongs to it.

All positions are timeline samples.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.findings import FoundFlaw
from assembler.aligner.ranges import common, merged, without

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.findings import PlacedPass
    from assembler.aligner.ranges import Range
    from assembler.arrays import Int32s

LEAST_TRACKS = 3
BORDER_SAMPLES = 2
"""The first and the last sample of a flaw may be right by chance."""

LEAST_SHOWN = 16
BESIDE_SAMPLES = 64
LEAST_NOISE, MOST_BESIDE = 0.5, 0.25
"""Share of values of their own among the samples of noise, and among those beside it."""


def told_together(
    passes: Sequence[PlacedPass],
    tracks: Sequence[int],
    flaws: Sequence[FoundFlaw],
    pauses: Sequence[FoundFlaw],
) -> list[FoundFlaw]:
    """Return the further flaws of single passes that several tracks tell together.

    Args:
        passes: in the order of trust.
        tracks: tape tracks that are compared, from 0.
        flaws: found on single tracks.
        pauses: places that one track alone does not prove to be no rests.
    """
    found: list[FoundFlaw] = []
    for one in passes:
        others = [other for other in passes if other is not one]
        lone = {
            track: without(one.covered(track), merged(r for other in others for r in other.covered(track)))
            for track in tracks
        }
        mine = [f for f in flaws if f.pass_name == one.name and common([(f.start, f.end)], lone[f.track])]
        open_places = [pause for pause in pauses if pause.pass_name == one.name]
        for place in _events([*mine, *open_places]):
            found += [pause for pause in open_places if _is_at(pause, place)]
            for track in tracks:
                known = merged((f.start, f.end) for f in (*mine, *found) if f.track == track)
                left = common(without([place], known), lone[track])
                if left and (kind := _shown(one, track, place)):
                    found += [FoundFlaw(one.name, track, kind, *piece) for piece in left]
    return found


def _events(flaws: Sequence[FoundFlaw]) -> list[Range]:
    """Return from where to where flaws of three tracks or more agree.

    A level held where the track held it anyway shows later, or ends earlier.
    """
    events = []
    for low, high in merged((flaw.start, flaw.end) for flaw in flaws):
        inside = [flaw for flaw in flaws if low <= flaw.start < high]
        starts = _borders((flaw.start, flaw.track) for flaw in inside)
        ends = _borders((flaw.end, flaw.track) for flaw in inside)
        if starts and ends and len({flaw.track for flaw in inside}) >= LEAST_TRACKS:
            start, end = min(starts), max(ends)
            if start < end:
                events.append((start, end))
    return events


def _borders(places: Iterable[tuple[int, int]]) -> list[int]:
    """Return the borders that several tracks share, from pairs of border and track."""
    tracks: Counter[int] = Counter()
    for border, _ in set(places):
        tracks[border] += 1
    return [border for border, count in tracks.items() if count >= LEAST_TRACKS - 1]


def _is_at(flaw: FoundFlaw, place: Range) -> bool:
    return abs(flaw.start - place[0]) <= BORDER_SAMPLES and abs(flaw.end - place[1]) <= BORDER_SAMPLES


def _shown(one: PlacedPass, track: int, place: Range) -> str:
    """Return what a track shows between just these samples: mute, hold, burst; "" where it shows nothing."""
    start, end = place
    if end - start < LEAST_SHOWN:
        return ""
    samples = one.samples(track, start - BESIDE_SAMPLES, end + BESIDE_SAMPLES)
    before, inner, behind = np.split(samples, [BESIDE_SAMPLES, samples.size - BESIDE_SAMPLES])
    if (inner == inner[0]).all():
        ends_there = before[-1] != inner[0] or behind[0] != inner[0]
        return "" if not ends_there else "hold" if inner[0] else "mute"
    beside = max(_own_values(before), _own_values(behind))
    return "burst" if _own_values(inner) >= LEAST_NOISE and beside <= MOST_BESIDE else ""


def _own_values(samples: Int32s) -> float:
    """Return how many values there are for each sample."""
    return float(np.unique(samples).size / samples.size)
