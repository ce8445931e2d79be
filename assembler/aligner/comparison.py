"""The passes of one reel compared sample by sample, in blocks, and what that says about each of them.

All positions are timeline samples until a flaw is reported, which is in samples of its pass. Memory is bounded by the
block and by the number of places where passes differ, which is capped: passes that differ everywhere are not
captures of the same numbers, and that is a finding of its own, not a list of flaws.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import repeat
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.notes import TrackNotes
from assembler.aligner.compare.track import comparison_of, weigh_track
from assembler.aligner.compare.unlike.witness import believed, heard_through
from assembler.aligner.concealment.marks import TALLY_COUNTS, Machine, likely_machine
from assembler.aligner.concealment.reel import concealed
from assembler.aligner.concealment.weave import weave
from assembler.aligner.events.lone import told_together
from assembler.aligner.events.settle import settle_by_other_tracks
from assembler.aligner.events.stops.pace import joined_stops
from assembler.aligner.events.stops.standstill import covered_by_all, heard, stop_flaws
from assembler.aligner.noting import asked_of_block, note_whole, stuck_of
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, ReelFindings, joined_flaws, joined_places
from assembler.known import NOTHING, SMALL_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.compare.track import Weighed
    from assembler.aligner.events.stops.stop import Still, Stop
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.known import Known

BLOCK_SAMPLES = 1 << 17
"""2.7 s at 48 kHz: large enough that the work is in array operations, small enough for 16 reels in memory."""


def compare_reel(
    passes: Sequence[PlacedPass],
    tracks: Sequence[int],
    step: int,
    full_scale: int,
    executor: Executor,
    advance: Callable[[float], None],
    known: Known = NOTHING,
) -> ReelFindings:
    """Return what the passes of one reel say about each other.

    There is one pass at least; ``tracks`` are those that are compared.
    """
    notes = {track: TrackNotes() for track in tracks}
    start = min(s.start for p in passes for s in p.maps if s.stretches)
    end = max(s.end for p in passes for s in p.maps if s.stretches)
    stills: dict[int, list[Still]] = {}
    repeats: dict[int, list[Stop]] = {}
    stuck: dict[tuple[int, int], list[tuple[Range, float]]] = {}
    placed, whole = passes, [covered_by_all(one, tracks) for one in passes]
    blocks = [(low, min(end, low + BLOCK_SAMPLES)) for low in range(start, end, BLOCK_SAMPLES)]
    asked = (
        (
            asked_of_block(placed, tracks, *block, step),
            partial(note_whole, placed, whole, tracks, block, step),
        )
        for block in blocks
    )
    found = known.recall_each("block", asked, executor, most_bytes=SMALL_BYTES)
    for (_, high), block in zip(blocks, found, strict=True):
        for track, seen in zip(tracks, block.tracks, strict=True):
            notes[track].add(seen, high)
        for index, still in block.stills.items():
            stills.setdefault(index, []).extend(still)
        for index, places in block.repeats.items():
            repeats.setdefault(index, []).extend(places)
        for of, ranges in block.stuck.items():
            stuck.setdefault(of, []).extend(ranges)
        advance((high - start) / (end - start) / 2)
    stops = joined_stops(stills, repeats)
    passes = [heard(one, stops.get(index, []), stuck_of(stuck, index)) for index, one in enumerate(placed)]
    machines = _machines(passes, notes)
    of_each = [notes[track] for track in tracks]
    heard_each = list(executor.map(heard_through, repeat(passes), tracks, of_each, repeat(step)))
    heard_as = dict(zip(tracks, heard_each, strict=True))
    heard_passes, own_notes = [one[0] for one in heard_each], [one[1] for one in heard_each]
    of_track = zip(heard_passes, tracks, own_notes, strict=True)
    comparisons = [comparison_of(*one, step, full_scale, machines) for one in of_track]
    hidden = concealed(comparisons, executor, lambda share: advance((2 + share) / 4))
    stopped = [*stop_flaws(placed, stops), *_stuck_flaws(placed, stuck)]
    of_stops = [[flaw for flaw in stopped if flaw.track == track] for track in tracks]
    weighed = heard_passes, own_notes, repeat(full_scale), comparisons, hidden, of_stops
    results = []
    for result in executor.map(weigh_track, *weighed):
        results.append(result)
        advance((3 + len(results) / len(tracks)) / 4)
    results = [believed(r, heard_as[t][2]) for t, r in zip(tracks, results, strict=True)]
    findings = _gathered(passes, notes, results, stopped)
    witnesses = frozenset((name, track) for track, (_, _, names) in heard_as.items() for name in names)
    findings = replace(findings, witnesses=witnesses)
    findings = replace(findings, flaws=tuple(joined_flaws([*findings.flaws, *stopped])))
    flaws = [[flaw for flaw in findings.flaws if flaw.track == track] for track in tracks]
    # A witness's own samples are none of the better pass's: of them nothing can be woven.
    lost = [[] if heard_as[track][2] else own.lost for track, own in zip(tracks, hidden, strict=True)]
    woven = executor.map(weave, comparisons, lost, flaws)
    return replace(findings, woven=tuple(stretch for one in woven for stretch in one))


def _machines(passes: Sequence[PlacedPass], notes: Mapping[int, TrackNotes]) -> list[Machine]:
    """Return how the machine of each pass conceals, as all tracks of it show: it has just one way."""
    none = np.zeros(TALLY_COUNTS, np.int64)
    return [
        likely_machine(sum((seen.machines.get(index, none) for seen in notes.values()), none))
        for index in range(len(passes))
    ]


def _gathered(
    passes: Sequence[PlacedPass],
    notes: Mapping[int, TrackNotes],
    results: Sequence[Weighed],
    stopped: Sequence[FoundFlaw],
) -> ReelFindings:
    unlike: dict[tuple[str, str], float] = {}
    largest: dict[tuple[str, str], int] = {}
    tracks: dict[tuple[str, str], frozenset[int]] = {}
    for track, seen in notes.items():
        for pair, shared in seen.pairs.items():
            names = (passes[pair[0]].name, passes[pair[1]].name)
            if shared.is_unlike:
                unlike[names] = max(unlike.get(names, 0.0), shared.differing / shared.overlap)
                largest[names] = max(largest.get(names, 0), shared.largest)
                tracks[names] = tracks.get(names, frozenset()) | {track}
    flaws, undecided = settle_by_other_tracks(
        [flaw for result in results for flaw in result.flaws],
        [place for result in results for place in result.undecided],
        stopped,
    )
    open_places = [flaw for result in results for flaw in result.open_places]
    flaws += told_together(passes, list(notes), flaws, open_places)
    return ReelFindings(
        tuple(joined_flaws(flaws)),
        tuple(joined_places(undecided)),
        unlike,
        tracks,
        largest,
        tuple(flaw for result in results for flaw in result.agreeing),
        lookalikes=(*open_places, *(flaw for result in results for flaw in result.habits)),
    )


def _stuck_flaws(
    passes: Sequence[PlacedPass], stuck: Mapping[tuple[int, int], Sequence[tuple[Range, float]]]
) -> list[FoundFlaw]:
    """Return where tracks of passes, by index and track, have a stuck bit, as flaws."""
    return [
        FoundFlaw(passes[index].name, track, "burst", *place, because=Because(Rule.STUCK_BIT, nats))
        for (index, track), places in stuck.items()
        for place, nats in places
    ]
