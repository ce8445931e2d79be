"""What the notes on one track say of each pass: differences judged, votes weighed, lone stretches looked at.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from assembler.aligner.compare.differences.beside import doubted_beside, not_known
from assembler.aligner.compare.differences.majority import judge_outvoted
from assembler.aligner.compare.differences.pieces import is_level
from assembler.aligner.compare.differences.split import judge_split
from assembler.aligner.compare.lone import flaws_alone, weigh_lines, weigh_runs
from assembler.aligner.compare.places import losses_without_witness, one_place_each
from assembler.aligner.concealment.reel import Comparison
from assembler.aligner.records.findings import FoundFlaw, Undecided, flawed_ranges, joined_flaws
from assembler.aligner.records.limits import BRIDGE_SAMPLES, MOST_GAP_SAMPLES
from assembler.aligner.records.ranges import common, merged, without
from assembler.aligner.sound.rests import SharedRests

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.compare.notes import TrackNotes
    from assembler.aligner.concealment.marks import Machine
    from assembler.aligner.concealment.reel import Concealed
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range


@dataclass(frozen=True)
class Weighed:
    """What one track says.

    Args:
        flaws: in order of place; where a place is undecided, of the passes that are not taken.
        undecided: places where nothing tells which pass is right.
        agreeing: flaws that every pass covering the place has.
        open_places: flaws of single passes unless they are how an instrument is played; other tracks may tell.
        habits: what looks like a flaw and is how the track is played, as it is there often.
    """

    flaws: list[FoundFlaw]
    undecided: list[Undecided]
    agreeing: list[FoundFlaw]
    open_places: list[FoundFlaw]
    habits: list[FoundFlaw]


def weigh_track(
    passes: Sequence[PlacedPass],
    notes: TrackNotes,
    full_scale: int,
    comparison: Comparison,
    hidden: Concealed,
    stopped: Sequence[FoundFlaw] = (),
) -> Weighed:
    """Return what one track says of each pass.

    Nothing of the passes is heard where all tracks have ``stopped`` together.
    """
    track, step = comparison.track, comparison.step
    notes = _left(notes, hidden.left, comparison.differing)
    flaws: list[FoundFlaw] = []
    undecided: list[Undecided] = []
    rests = SharedRests(track, step)
    split = {members: merged(ranges) for members, ranges in notes.split.items()}
    # Where a few samples of one are lost amid what more of them differ in, that is asked of all.
    for members in sorted(split, key=len):
        larger = (
            merged(own, bridge=BRIDGE_SAMPLES) for more, own in split.items() if len(more) > len(members)
        )
        split[members] = without(split[members], merged(place for own in larger for place in own))
    beside = [*hidden.flaws, *stopped]
    for index, ranges in notes.outvoted.items():
        judged = merged(ranges, bridge=BRIDGE_SAMPLES)
        elsewhere = merged(place for places in split.values() for place in places)
        for place in one_place_each(judged, partial(is_level, passes[index], track)):
            found, open_places = judge_outvoted(passes, track, index, place, elsewhere, step, rests)
            flaws += found
            undecided += open_places
    for members, ranges in split.items():
        if not notes.are_unlike(*members[:2]):
            found, open_places = judge_split(passes, track, members, ranges, step, [*flaws, *beside])
            flaws += found
            undecided += open_places
    flaws += hidden.flaws
    # Where passes differ that has been asked already, sample by sample, unless another flaw hides it.
    asked = merged(without(comparison.differing, merged(hidden.left)), bridge=MOST_GAP_SAMPLES)
    flaws += losses_without_witness(passes, notes, comparison, asked, flaws)
    undecided += hidden.undecided
    flaws += doubted_beside(passes, track, notes, flaws)
    flawed = {p.name: flawed_ranges(flaws, p.name) for p in passes}
    told, lookalikes, natural = flaws_alone(passes, track, step, flawed)
    # Silence beside noise thrown in looks cut off by nature.
    seen = [*flaws, *told, *lookalikes, *natural]
    known = {p.name: flawed_ranges(seen, p.name) for p in passes}
    doubted = merged((place.start, place.end) for place in undecided)
    alone, agreeing, played = weigh_runs(passes, track, notes, known, doubted, rests, step, full_scale)
    alone += not_known(told, flaws + alone)
    drawn = weigh_lines(passes, track, notes, step)
    return Weighed(
        joined_flaws([*flaws, *alone, *drawn]),
        undecided,
        [*agreeing, *drawn],
        lookalikes,
        [*natural, *played],
    )


def comparison_of(
    passes: Sequence[PlacedPass],
    track: int,
    notes: TrackNotes,
    step: int,
    full_scale: int,
    machines: Sequence[Machine],
) -> Comparison:
    """Return the passes of a track that hold the same numbers as the most trusted one, and where they differ."""
    holding = [index for index, one in enumerate(passes) if one.covered(track)]
    alike = [index for index in holding if not notes.are_unlike(holding[0], index)]
    differing = [
        place
        for members, places in (
            *notes.split.items(),
            *(((index,), places) for index, places in notes.outvoted.items()),
        )
        if set(members) <= set(alike)
        for place in places
    ]
    bits = full_scale.bit_length() + 1 - (step.bit_length() - 1)
    return Comparison(
        [passes[index] for index in alike],
        track,
        step,
        bits,
        [machines[index] for index in alike],
        merged(differing, bridge=BRIDGE_SAMPLES) if len(alike) > 1 else [],
    )


def _left(notes: TrackNotes, left: Sequence[Range], looked_at: Sequence[Range]) -> TrackNotes:
    """Return the notes without the differences that concealment has explained.

    Notes stay where it was not ``looked_at`` for them; what is ``left`` differs for another reason.
    """

    def kept(places: Sequence[Range]) -> list[Range]:
        whole = merged(places)
        return merged([*common(whole, left), *without(whole, looked_at)])

    return replace(
        notes,
        outvoted={index: kept(places) for index, places in notes.outvoted.items()},
        split={members: kept(places) for members, places in notes.split.items()},
    )
