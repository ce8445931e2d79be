"""Lost sync as one pass shows it by itself: the same moment on several tracks, where no other pass bears witness.

What begins and ends at the same samples on three tracks, each of which goes on behind it as before, took all tracks at
once. On a track that shows nothing by itself, since a note begins or ends in it, a level or noise between just these
samples belongs to it.

All positions are timeline samples.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import LONE_ROUGH_RATIO
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.limits import (
    BRIDGE_SAMPLES,
    CLEARLY,
    HALF,
    LEAST_TELLING,
    LEAST_WITNESSES,
    NEAR_SAMPLES,
    NEARLY_ALL,
)
from assembler.aligner.records.passes import covered_by
from assembler.aligner.records.ranges import common, merged, without
from assembler.aligner.sound.levels import constant_runs
from assembler.aligner.sound.limits import LEAST_BEAT, MOST_ALIKE, PERIODS_SAMPLES
from assembler.arrays import distinct

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s

MOMENT = Because(Rule.MOMENT)


def told_together(
    passes: Sequence[PlacedPass],
    tracks: Sequence[int],
    flaws: Sequence[FoundFlaw],
    open_places: Sequence[FoundFlaw],
) -> list[FoundFlaw]:
    """Return the further flaws of single passes that several tracks tell together.

    The open places are such as one track alone does not prove to be flaws.
    """
    found: list[FoundFlaw] = []
    for one in passes:
        others = [other for other in passes if other is not one]
        lone = {track: without(one.covered(track), covered_by(others, track)) for track in tracks}
        mine = [f for f in flaws if f.pass_name == one.name and common([(f.start, f.end)], lone[f.track])]
        doubtful = [flaw for flaw in open_places if flaw.pass_name == one.name]
        for place in _events([*mine, *doubtful]):
            found += [replace(flaw, because=MOMENT) for flaw in doubtful if _is_at(flaw, place)]
            found += _elsewhere(one, lone, place, [*mine, *found])
    return found


def _elsewhere(
    one: PlacedPass, lone: Mapping[int, Sequence[Range]], place: Range, known: Sequence[FoundFlaw]
) -> list[FoundFlaw]:
    """Return what the tracks of which nothing is known yet show in a place that others prove."""
    found = []
    for track, alone in lone.items():
        told = merged((flaw.start, flaw.end) for flaw in known if flaw.track == track)
        left = common(without([place], told), alone)
        if left and (kind := _shown(one, track, place)):
            found += [FoundFlaw(one.name, track, kind, *piece, because=MOMENT) for piece in left]
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
        if not ends or len({flaw.track for flaw in inside}) < LEAST_WITNESSES:
            continue
        end = max(ends)
        ending = [flaw for flaw in inside if flaw.end == end]
        if not starts and len({flaw.track for flaw in ending}) >= LEAST_WITNESSES:
            # Each track held its level since another edge.
            starts = [max(flaw.start for flaw in ending)]
        if starts and min(starts) < end:
            events.append((min(starts), end))
    return events


def _borders(places: Iterable[tuple[int, int]]) -> list[int]:
    """Return the borders that several tracks share, from pairs of border and track."""
    tracks: Counter[int] = Counter()
    for border, _ in set(places):
        tracks[border] += 1
    return [border for border, count in tracks.items() if count >= LEAST_WITNESSES - 1]


def _is_at(flaw: FoundFlaw, place: Range) -> bool:
    """Return whether a flaw begins and ends where an event does; a level may have been held before."""
    begins = abs(flaw.start - place[0]) <= NEAR_SAMPLES or (flaw.kind == "hold" and flaw.start < place[0])
    return begins and abs(flaw.end - place[1]) <= NEAR_SAMPLES


def _shown(one: PlacedPass, track: int, place: Range) -> str:
    """Return what a track shows between just these samples: mute, hold, burst; "" where it shows nothing."""
    start, end = place
    if end - start < LEAST_TELLING:
        return ""
    samples = one.samples(track, start - BRIDGE_SAMPLES, end + BRIDGE_SAMPLES)
    before, inner, behind = np.split(samples, [BRIDGE_SAMPLES, samples.size - BRIDGE_SAMPLES])
    level = int(np.sort(inner)[inner.size // 2])
    is_on_level = inner == level
    # But for another short flaw or two.
    is_left = np.count_nonzero(is_on_level[1:] != is_on_level[:-1])
    if is_left <= MOST_ALIKE and np.mean(is_on_level) >= NEARLY_ALL:
        ends_there = before[-1] != level or behind[0] != level
        if level == 0:
            return "mute" if ends_there else ""
        return "hold" if ends_there or _is_long(one, track, place) else ""
    is_rough = _roughness(inner) >= LONE_ROUGH_RATIO * max(_roughness(before), _roughness(behind))
    return "burst" if is_rough and distinct(inner).size >= HALF * inner.size else ""


def _is_long(one: PlacedPass, track: int, place: Range) -> bool:
    """Return whether a level is held for longer than any tone holds one, or than this sound does; silence has none."""
    start, end = place
    beside = (
        one.samples(track, start - PERIODS_SAMPLES, start),
        one.samples(track, end, end + PERIODS_SAMPLES),
    )
    if not any(np.ptp(side) > 0 for side in beside):
        return False
    own = max((run.end - run.start for side in beside for run in constant_runs(side)), default=0)
    return end - start >= min(LEAST_BEAT, CLEARLY * max(own, LEAST_TELLING))


def _roughness(samples: Int32s) -> float:
    """Return how sharply samples bend from one to the next, as an effective value."""
    bend = np.diff(samples.astype(np.float64), 2)
    return float(np.sqrt(np.mean(bend**2)))
