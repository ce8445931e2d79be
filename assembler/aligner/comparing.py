"""The passes of one reel compared sample by sample, in blocks, and what that says about each of them.

All positions are timeline samples until a flaw is told, which is in samples of its pass. Memory is bounded by the
block and by the number of places where passes differ, which is capped: passes that differ everywhere are not
captures of the same numbers, and that is a finding of its own, not a list of flaws.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.marks import likely_roundings
from assembler.aligner.concealment.sweeps import machine_made
from assembler.aligner.concealment.weave import weave
from assembler.aligner.copying import tell_copies
from assembler.aligner.findings import MOST_GAP_SAMPLES, ReelFindings, joined_flaws, joined_places
from assembler.aligner.noting import TrackNotes, is_unlike, note_block
from assembler.aligner.ranges import common, total
from assembler.aligner.syncing import settle_by_other_tracks
from assembler.aligner.together import told_together
from assembler.aligner.weighing import weigh_track

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.findings import PlacedPass
    from assembler.aligner.weighing import Weighed

BLOCK_SAMPLES = 1 << 17
"""2.7 s at 48 kHz: large enough that the work is in array operations, small enough for 16 reels in memory."""


def compare_reel(
    passes: Sequence[PlacedPass],
    tracks: Sequence[int],
    step: int,
    full_scale: int,
    executor: Executor,
    advance: Callable[[float], None],
) -> ReelFindings:
    """Return what the passes of one reel say about each other.

    Args:
        passes: in the order of trust; not empty.
        tracks: tape tracks to compare, from 0.
        step: one step of the tape's word length, in sample values.
        full_scale: largest positive sample value.
        executor: runs the tracks side by side.
        advance: called with the share of the work done so far.
    """
    notes = {track: TrackNotes() for track in tracks}
    start = min(s.start for p in passes for s in p.maps if s.stretches)
    end = max(s.end for p in passes for s in p.maps if s.stretches)
    for low in range(start, end, BLOCK_SAMPLES):
        high = min(end, low + BLOCK_SAMPLES)
        list(executor.map(lambda t: note_block(passes, t, low, high, step, notes[t]), tracks))  # noqa: B023 - run at once
        advance((high - start) / (end - start))
    roundings = _roundings(passes, notes)
    machine_made_means(passes, notes, step)
    results = list(
        executor.map(lambda t: weigh_track(passes, t, notes[t], step, full_scale, roundings), tracks)
    )
    findings = _gathered(passes, notes, results)
    comparisons = [result.comparison for result in results]
    woven = executor.map(
        lambda one: weave(
            one,
            [flaw for flaw in findings.flaws if flaw.track == one.track],
            [place for place in findings.undecided if place.track == one.track],
        ),
        comparisons,
    )
    return replace(findings, woven=tuple(stretch for one in woven for stretch in one))


def machine_made_means(passes: Sequence[PlacedPass], notes: Mapping[int, TrackNotes], step: int) -> None:
    """Keep of the rows of means that were noted those that are a machine's."""
    for index, one in enumerate(passes):
        rows = {track: seen.means[index] for track, seen in notes.items() if seen.means.get(index)}
        for track, places in machine_made(one, rows, list(notes), step).items():
            notes[track].means[index] = places


def _roundings(passes: Sequence[PlacedPass], notes: Mapping[int, TrackNotes]) -> list[tuple[int, ...]]:
    """Return the ways in which the machine of each pass may round, as all tracks of it show: it has just one."""
    none = np.zeros(3, np.int64)
    return [
        likely_roundings(sum((seen.roundings.get(index, none) for seen in notes.values()), none))
        for index in range(len(passes))
    ]


def _gathered(
    passes: Sequence[PlacedPass], notes: Mapping[int, TrackNotes], results: Sequence[Weighed]
) -> ReelFindings:
    unlike: dict[tuple[str, str], float] = {}
    largest: dict[tuple[str, str], int] = {}
    tracks: dict[tuple[str, str], frozenset[int]] = {}
    for track, seen in notes.items():
        for pair, count in seen.differing.items():
            names = (passes[pair[0]].name, passes[pair[1]].name)
            both = total(common(passes[pair[0]].covered(track), passes[pair[1]].covered(track)))
            if is_unlike(seen, *pair):
                unlike[names] = max(unlike.get(names, 0.0), count / max(1, both))
                largest[names] = max(largest.get(names, 0), seen.largest[pair])
                tracks[names] = tracks.get(names, frozenset()) | {track}
    flaws, undecided = settle_by_other_tracks(
        [flaw for result in results for flaw in result.flaws],
        [place for result in results for place in result.undecided],
        MOST_GAP_SAMPLES,
        passes,
    )
    flaws = tell_copies(passes, list(notes), flaws)
    open_places = [flaw for result in results for flaw in result.open_places]
    flaws += told_together(passes, list(notes), flaws, open_places)
    return ReelFindings(
        tuple(joined_flaws(flaws)),
        tuple(joined_places(undecided)),
        unlike,
        tracks,
        largest,
        tuple(flaw for result in results for flaw in result.agreeing),
    )
