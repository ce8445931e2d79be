"""What passes show beside a slip whose place is in doubt, and where every other pass lost samples.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, flawed_ranges
from assembler.aligner.records.limits import BRIDGE_SAMPLES
from assembler.aligner.records.passes import covered_by
from assembler.aligner.records.ranges import common, merged, total, without

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.compare.notes.track import TrackNotes
    from assembler.aligner.records.passes import PlacedPass


def doubted_beside(
    passes: Sequence[PlacedPass], track: int, notes: TrackNotes, flaws: Sequence[FoundFlaw]
) -> list[FoundFlaw]:
    """Return what lies beside a slip whose place nothing tells, where no other pass bears it out.

    Samples there may stand as far off as the slip is long; those that another pass has too are in place. Where the
    slip lost samples they may be others than it seems, so that what a single other pass has in their place is not
    borne out either.
    """
    found: list[FoundFlaw] = []
    told = partial(FoundFlaw, because=Because(Rule.BESIDE_SLIP))
    for index, one in enumerate(passes):
        differing = merged(place for who, places in notes.split.items() if index in who for place in places)
        others = [other for other in passes if other is not one]
        covered = covered_by(others, track)
        for doubt, lost in one.maps[track].doubts():
            open_places = [*common(doubt, differing), *without(doubt, covered)]
            found += [told(one.name, track, "disagreement", *place) for place in open_places]
            holders = [other for other in others if common(other.covered(track), lost)]
            if common(doubt, differing) and len(holders) == 1:
                places = common(holders[0].covered(track), lost)
                found += [told(holders[0].name, track, "disagreement", *place) for place in places]
    return not_known(found, flaws)


def through_holes(passes: Sequence[PlacedPass], track: int, flaws: Sequence[FoundFlaw]) -> list[FoundFlaw]:
    """Return what lies between two flaws of a pass where every other pass lost samples: the flaw goes on there.

    Unless that is for longer than what is known of it.
    """
    found: list[FoundFlaw] = []
    for one in passes:
        covered = covered_by((other for other in passes if other is not one), track)
        own = [flaw for flaw in flaws if flaw.pass_name == one.name]
        whole = merged(((flaw.start, flaw.end) for flaw in own), bridge=BRIDGE_SAMPLES)
        for held in one.covered(track):
            for start, end in without([held], covered):
                # Before the others begin and behind their end there is no hole, nor is there one in a lone pass.
                if not covered or end <= covered[0][0] or covered[-1][1] <= start:
                    continue
                before = [flaw for flaw in own if flaw.start < start <= flaw.end + BRIDGE_SAMPLES]
                behind = [flaw for flaw in own if flaw.start - BRIDGE_SAMPLES <= end < flaw.end]
                known = total(
                    (low, high)
                    for low, high in whole
                    if low < start <= high + BRIDGE_SAMPLES or low - BRIDGE_SAMPLES <= end < high
                )
                if before and behind and end - start <= known:
                    kind, because = before[-1].kind, Because(Rule.GOES_ON)
                    found.append(FoundFlaw(one.name, track, kind, start, end, because=because))
    return not_known(found, flaws)


def not_known(found: Iterable[FoundFlaw], flaws: Sequence[FoundFlaw]) -> list[FoundFlaw]:
    """Return the parts of found flaws that no other flaw of the same pass names already."""
    fresh: list[FoundFlaw] = []
    for flaw in found:
        known = flawed_ranges((*flaws, *fresh), flaw.pass_name)
        fresh += [
            replace(flaw, start=start, end=end) for start, end in without([(flaw.start, flaw.end)], known)
        ]
    return fresh
