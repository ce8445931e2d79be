"""Rests that several tracks of one pass keep together, told from lost sync.

One sequencer plays sounds on several tracks, one key closes all their gates, a whole band stops at once: silences then
begin and end at the same samples on many tracks, as where sync was lost. But lost sync takes every track: one that
sounds on across a border says that it was none. And a band stops together again and again, to set in anew.

A flaw may take a few tracks of a machine and leave the others. It does so once between the same samples of tracks that
otherwise rest each for itself.

All positions are timeline samples.
"""

from __future__ import annotations

from collections import Counter
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import (
    LEAST_LEVEL,
    MOST_ODD,
    MOST_PARTIAL,
    MOST_UNFORETOLD,
    PLAYED_LEAST_TRACKS,
)
from assembler.aligner.flaws.limits import LEAST_CHANGING
from assembler.aligner.records.limits import NEAR_SAMPLES
from assembler.aligner.records.ranges import common, merged, without
from assembler.aligner.sound.beats import on_grid
from assembler.aligner.sound.levels import fit_predictor, prediction_errors
from assembler.aligner.sound.limits import (
    EDGE_SAMPLES,
    FIT_SAMPLES,
    LEVEL_SAMPLES,
    MOST_ALIKE,
)
from assembler.aligner.sound.rests import goes_on

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


def kept_together(
    one: PlacedPass,
    lone: Mapping[int, Sequence[Range]],
    proved: Sequence[FoundFlaw],
    doubtful: Sequence[FoundFlaw],
) -> set[FoundFlaw]:
    """Return what is how several tracks are played, of places of one pass that no single track proves to be flaws.

    Args:
        one: the pass.
        lone: for each track that is compared, from 0, what no other pass covers.
        proved: flaws that single tracks prove.
        doubtful: places that may be flaws.
    """
    asked, moments = set(doubtful), _moments([*proved, *doubtful])
    starts, ends = (_on_beats([(_place(m)[side], m) for m in moments]) for side in (0, 1))
    played: list[list[FoundFlaw]] = []
    free: list[list[FoundFlaw]] = []
    for moment in moments:
        start, end = _place(moment)
        keeps_time = common([(start, start + 1)], starts) and common([(end, end + 1)], ends)
        (played if keeps_time else free).append(moment)
    found = {flaw for moment in played for flaw in moment}
    pairs = _pairs(free)
    anew = [moment for moment in free if asked.issuperset(moment) and _sets_in_anew(one, moment)]
    pairs_anew = _pairs(anew)
    for moment in free:
        crossed = _crossed(one, lone, _place(moment))
        few = len(_tracks(moment)) < PLAYED_LEAST_TRACKS
        for flaw in moment:
            often = _often(flaw, moment, pairs)
            if (
                (crossed == 2 and (few or often > MOST_PARTIAL))
                or (crossed and often > MOST_ALIKE)
                or (moment in anew and _often(flaw, moment, pairs_anew) > MOST_ALIKE)
            ):
                found.add(flaw)
    return found & asked


def _moments(flaws: Iterable[FoundFlaw]) -> list[list[FoundFlaw]]:
    """Return flaws in order of place, those between the same samples together."""
    moments: list[list[FoundFlaw]] = []
    for flaw in sorted(flaws, key=lambda one: (one.start, one.end, one.track)):
        for moment in reversed(moments):
            if moment[0].start < flaw.start - NEAR_SAMPLES:
                moments.append([flaw])
                break
            if abs(moment[0].end - flaw.end) <= NEAR_SAMPLES:
                moment.append(flaw)
                break
        else:
            moments.append([flaw])
    return moments


def _place(moment: Sequence[FoundFlaw]) -> Range:
    return moment[0].start, moment[0].end


def _tracks(moment: Sequence[FoundFlaw]) -> set[int]:
    return {flaw.track for flaw in moment}


def _pairs(moments: Iterable[Sequence[FoundFlaw]]) -> Counter[tuple[int, int]]:
    """Return how often every two tracks share a moment."""
    return Counter(pair for moment in moments for pair in combinations(sorted(_tracks(moment)), 2))


def _often(flaw: FoundFlaw, moment: Sequence[FoundFlaw], pairs: Counter[tuple[int, int]]) -> int:
    """Return how often the track of a flaw shares moments with one that it shares this one with, at most."""
    others = _tracks(moment) - {flaw.track}
    return max((pairs[min(flaw.track, other), max(flaw.track, other)] for other in others), default=0)


def _crossed(one: PlacedPass, lone: Mapping[int, Sequence[Range]], place: Range) -> int:
    """Return how many borders of a place are crossed by a track that sounds on there, be it one track or two.

    Silence that lost sync makes longer has one border that no track crosses.
    """
    start, end = place
    before, behind = (
        (start - FIT_SAMPLES, start + EDGE_SAMPLES),
        (end - EDGE_SAMPLES, end + FIT_SAMPLES),
    )
    crossed = 0
    for side, order in ((before, 1), (behind, -1)):
        crossed += any(
            not without([side], held) and _foretells(one.samples(track, *side)[::order])
            for track, held in lone.items()
        )
    return crossed


def _foretells(samples: Int32s) -> bool:
    """Return whether the last millisecond of a piece is foretold by what comes before, and as loud."""
    sound = samples.astype(np.float64)
    before, across = sound[:FIT_SAMPLES], sound[FIT_SAMPLES:]
    power = float(np.mean(before**2))
    beside = float(np.mean(before[-LEVEL_SAMPLES:] ** 2))
    if float(np.mean(across**2)) < LEAST_LEVEL**2 * beside or np.mean(np.diff(across) != 0) < LEAST_CHANGING:
        return False
    errors = prediction_errors(sound, fit_predictor(before))
    usual = float(np.mean(errors[FIT_SAMPLES // 2 : FIT_SAMPLES] ** 2))
    return (
        usual <= MOST_UNFORETOLD * min(power, beside)
        and float(np.mean(errors[FIT_SAMPLES:] ** 2)) <= MOST_ODD**2 * usual
    )


def _sets_in_anew(one: PlacedPass, moment: Sequence[FoundFlaw]) -> bool:
    """Return whether most tracks that stop at a moment begin behind it from zero, or at another level."""
    going_on = [
        goes_on(
            one.samples(flaw.track, flaw.start - LEVEL_SAMPLES, flaw.start),
            one.samples(flaw.track, flaw.end, flaw.end + LEVEL_SAMPLES),
        )
        for flaw in moment
    ]
    return 2 * sum(going_on) < len(going_on)


def _on_beats(borders: Sequence[tuple[int, Sequence[FoundFlaw]]]) -> list[Range]:
    """Return, of borders that tracks share, where many stand on one grid, as a sequencer sets them.

    Args:
        borders: of moments, each with its moment.
    """
    places = np.array(_shared_borders(borders), np.int64)
    return merged((at - NEAR_SAMPLES, at + NEAR_SAMPLES + 1) for at in places[on_grid(places)].tolist())


def _shared_borders(borders: Sequence[tuple[int, Sequence[FoundFlaw]]]) -> list[int]:
    """Return in order where moments of two tracks or more begin, or end."""
    shared: list[tuple[int, set[int]]] = []
    for at, moment in sorted(borders, key=lambda border: border[0]):
        if shared and at <= shared[-1][0] + NEAR_SAMPLES:
            shared[-1][1].update(_tracks(moment))
        else:
            shared.append((at, _tracks(moment)))
    return [at for at, tracks in shared if len(tracks) > 1]
