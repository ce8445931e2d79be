"""Lost sync as one pass shows it by itself: the same moment on several tracks, where no other pass bears witness.

What begins and ends at the same samples on three tracks, each of which goes on behind it as before, took all tracks at
once; so did what two tracks prove each by itself. On a track that shows nothing by itself, since a note begins or ends
in it, a level or noise between just these samples belongs to it; and so does a copy where another track proves one.

All positions are timeline samples.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import BORDER_SAMPLES, LEAST_ON_LEVEL, MOST_LEFT, PLAYED_LEAST_TRACKS
from assembler.aligner.events.played import kept_together
from assembler.aligner.flaws.limits import (
    CLIPPED_RATIO,
    LEAST_CHANGING,
    LEAST_NOISE,
    LEAST_TELLING,
    LONE_ROUGH_RATIO,
)
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.limits import NEAR_SAMPLES
from assembler.aligner.records.ranges import common, merged, without
from assembler.aligner.sound.levels import constant_runs
from assembler.aligner.sound.limits import LEAST_BEAT, PERIODS_SAMPLES
from assembler.arrays import distinct

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s

MOMENT, COPY = Because(Rule.MOMENT), Because(Rule.COPY)


def told_together(
    passes: Sequence[PlacedPass],
    tracks: Sequence[int],
    flaws: Sequence[FoundFlaw],
    open_places: Sequence[FoundFlaw],
) -> list[FoundFlaw]:
    """Return the further flaws of single passes that several tracks tell together.

    Args:
        passes: in the order of trust.
        tracks: tape tracks that are compared, from 0.
        flaws: found on single tracks.
        open_places: places that one track alone does not prove to be flaws.
    """
    found: list[FoundFlaw] = []
    for one in passes:
        others = [other for other in passes if other is not one]
        lone = {
            track: without(one.covered(track), merged(r for other in others for r in other.covered(track)))
            for track in tracks
        }
        mine = [f for f in flaws if f.pass_name == one.name and common([(f.start, f.end)], lone[f.track])]
        doubtful = [flaw for flaw in open_places if flaw.pass_name == one.name]
        lost = merged(_events(mine))
        # Silence of a track that rests may hold lost sync that others prove.
        played = kept_together(one, lone, mine, [f for f in doubtful if not common([(f.start, f.end)], lost)])
        doubtful = [flaw for flaw in doubtful if flaw not in played]
        for place in merged([*_events([*mine, *doubtful]), *_pairs(mine)]):
            found += [replace(flaw, because=MOMENT) for flaw in doubtful if _is_at(flaw, place)]
            found += _elsewhere(one, lone, place, _shown, [*mine, *found], MOMENT)
        for place in sorted({(flaw.start, flaw.end) for flaw in mine if flaw.kind == "repeat"}):
            found += _elsewhere(one, lone, place, _copied, [*mine, *found], COPY)
    return found


def _elsewhere(
    one: PlacedPass,
    lone: Mapping[int, Sequence[Range]],
    place: Range,
    shown: Callable[[PlacedPass, int, Range], str],
    known: Sequence[FoundFlaw],
    because: Because,
) -> list[FoundFlaw]:
    """Return what the tracks of which nothing is known yet show in a place that others prove.

    Args:
        one: the pass.
        lone: for each track, where no other pass covers it.
        place: of the event.
        shown: tells what a track shows there; "" for nothing.
        known: flaws of the pass.
        because: what proves it.
    """
    found = []
    for track, alone in lone.items():
        told = merged((flaw.start, flaw.end) for flaw in known if flaw.track == track)
        left = common(without([place], told), alone)
        if left and (kind := shown(one, track, place)):
            found += [FoundFlaw(one.name, track, kind, *piece, because=because) for piece in left]
    return found


def _pairs(proved: Sequence[FoundFlaw]) -> list[Range]:
    """Return the places of flaws that two tracks prove, each by itself, between the same samples."""
    places = sorted({(flaw.start, flaw.end, flaw.track) for flaw in proved})
    starts = [start for start, *_ in places]
    return [
        (start, end)
        for number, (start, end, track) in enumerate(places)
        for _, last, other in places[number + 1 : bisect_right(starts, start + NEAR_SAMPLES)]
        if track != other and abs(end - last) <= NEAR_SAMPLES
    ]


def _events(flaws: Sequence[FoundFlaw]) -> list[Range]:
    """Return from where to where flaws of three tracks or more agree.

    A level held where the track held it anyway shows later, or ends earlier.
    """
    events = []
    for low, high in merged((flaw.start, flaw.end) for flaw in flaws):
        inside = [flaw for flaw in flaws if low <= flaw.start < high]
        starts = _borders((flaw.start, flaw.track) for flaw in inside)
        ends = _borders((flaw.end, flaw.track) for flaw in inside)
        if not ends or len({flaw.track for flaw in inside}) < PLAYED_LEAST_TRACKS:
            continue
        end = max(ends)
        ending = [flaw for flaw in inside if flaw.end == end]
        if not starts and len({flaw.track for flaw in ending}) >= PLAYED_LEAST_TRACKS:
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
    return [border for border, count in tracks.items() if count >= PLAYED_LEAST_TRACKS - 1]


def _is_at(flaw: FoundFlaw, place: Range) -> bool:
    """Return whether a flaw begins and ends where an event does; a level may have been held before."""
    begins = abs(flaw.start - place[0]) <= NEAR_SAMPLES or (flaw.kind == "hold" and flaw.start < place[0])
    return begins and abs(flaw.end - place[1]) <= NEAR_SAMPLES


def _shown(one: PlacedPass, track: int, place: Range) -> str:
    """Return what a track shows between just these samples: mute, hold, burst; "" where it shows nothing."""
    start, end = place
    if end - start < LEAST_TELLING:
        return ""
    samples = one.samples(track, start - BORDER_SAMPLES, end + BORDER_SAMPLES)
    before, inner, behind = np.split(samples, [BORDER_SAMPLES, samples.size - BORDER_SAMPLES])
    level = int(np.sort(inner)[inner.size // 2])
    if _is_held(inner, level):
        ends_there = before[-1] != level or behind[0] != level
        if level == 0:
            return "mute" if ends_there else ""
        return "hold" if ends_there or _is_long(one, track, place) else ""
    is_rough = _roughness(inner) >= LONE_ROUGH_RATIO * max(_roughness(before), _roughness(behind))
    return "burst" if is_rough and distinct(inner).size >= LEAST_NOISE * inner.size else ""


def _copied(one: PlacedPass, track: int, place: Range) -> str:
    """Return "repeat" where a track holds just what stands before the place, at its own length, and only there."""
    size = place[1] - place[0]
    samples = one.samples(track, place[0] - LEAST_TELLING, place[1] + LEAST_TELLING)
    if np.count_nonzero(np.diff(samples[LEAST_TELLING:-LEAST_TELLING])) < LEAST_CHANGING * size:
        return ""
    for lag in range(size - NEAR_SAMPLES, size + NEAR_SAMPLES + 1):
        is_same = samples == one.samples(
            track, place[0] - LEAST_TELLING - lag, place[1] + LEAST_TELLING - lag
        )
        inner = is_same[LEAST_TELLING + NEAR_SAMPLES : -LEAST_TELLING - NEAR_SAMPLES]
        goes_on = is_same[:LEAST_TELLING].all() or is_same[-LEAST_TELLING:].all()
        if inner.size and inner.all() and not goes_on:
            return "repeat"
    return ""


def _is_held(samples: Int32s, level: int) -> bool:
    """Return whether samples stay on a level, but for another short flaw or two."""
    is_on_level = samples == level
    edges = np.count_nonzero(is_on_level[1:] != is_on_level[:-1])
    return bool(edges <= MOST_LEFT and np.mean(is_on_level) >= LEAST_ON_LEVEL)


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
    return end - start >= min(LEAST_BEAT, CLIPPED_RATIO * max(own, LEAST_TELLING))


def _roughness(samples: Int32s) -> float:
    """Return how sharply samples bend from one to the next, as an effective value."""
    bend = np.diff(samples.astype(np.float64), 2)
    return float(np.sqrt(np.mean(bend**2)))
