"""What lies beside flaws and slips: flaws that go on in a place, and what no other pass can bear out there.

All positions are timeline samples.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from assembler.aligner.compare.differences.pieces import is_level
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, flawed_ranges
from assembler.aligner.records.limits import BRIDGE_SAMPLES, MOST_GAP_SAMPLES, NEIGHBOURS
from assembler.aligner.records.passes import covered_by
from assembler.aligner.records.ranges import common, merged, without

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.compare.notes import TrackNotes
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range


class Beside:
    """The flaws of one track that are known already.

    Args:
        passes: in their places.
        track: from 0 in tape order.
        flaws: known of it.
    """

    def __init__(self, passes: Sequence[PlacedPass], track: int, flaws: Iterable[FoundFlaw]) -> None:
        self._passes = {one.name: one for one in passes}
        self._track = track
        self._known: dict[str, list[tuple[int, int, str]]] = {one.name: [] for one in passes}
        self.add(flaws)

    def add(self, flaws: Iterable[FoundFlaw]) -> None:
        """Take further flaws into account."""
        for flaw in flaws:
            insort(self._known[flaw.pass_name], (flaw.start, flaw.end, flaw.kind))

    def is_flawed_before(self, name: str, place: Range) -> bool:
        """Return whether a pass is flawed right before a place; a level held is one event for as long as it lasts."""
        return any(
            place[0] <= end + BRIDGE_SAMPLES
            or (
                kind in ("mute", "hold")
                and place[0] <= end + MOST_GAP_SAMPLES
                and is_level(self._passes[name], self._track, (end - 1, place[0] + 1))
            )
            for _, end, kind in self._begun_before(name, place[0])
        )

    def is_flawed_behind(self, name: str, place: Range) -> bool:
        """Return whether a pass is flawed right behind a place; or through it, as around what another pass lost."""
        known = self._known[name]
        at = bisect_left(known, (place[1] - BRIDGE_SAMPLES, 0, ""))
        return any(place[1] < end for _, end, _ in self._begun_before(name, place[0])) or any(
            start <= place[1] + BRIDGE_SAMPLES and place[0] <= start
            for start, _, _ in known[at : at + NEIGHBOURS]
        )

    def _begun_before(self, name: str, at: int) -> list[tuple[int, int, str]]:
        """Return the last flaws of a pass that begin before a sample."""
        number = bisect_left(self._known[name], (at, 0, ""))
        return self._known[name][max(0, number - NEIGHBOURS) : number]


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


def not_known(found: Iterable[FoundFlaw], flaws: Sequence[FoundFlaw]) -> list[FoundFlaw]:
    """Return the parts of found flaws that no other flaw of the same pass names already."""
    fresh: list[FoundFlaw] = []
    for flaw in found:
        known = flawed_ranges((*flaws, *fresh), flaw.pass_name)
        fresh += [
            replace(flaw, start=start, end=end) for start, end in without([(flaw.start, flaw.end)], known)
        ]
    return fresh
