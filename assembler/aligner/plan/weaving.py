"""Woven stretches: no pass has one right as a whole, yet every sample of it is right in some pass.

Such a stretch counts as right in each pass that takes part, since what the pass lost is filled from the others, in the
order of trust. Positions are timeline samples.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import reduce
from itertools import islice, takewhile
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.plan.hand.takes import Take, stretches_of
from assembler.aligner.records.edit import Filled
from assembler.aligner.records.findings import ranges_by_track
from assembler.aligner.records.limits import READ_SAMPLES
from assembler.aligner.records.ranges import common, merged, pieces_of, range_around, without
from assembler.aligner.records.runs import Runs, joined_runs, runs_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from assembler.aligner.plan.path.choices import Forced
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.arrays import Int32s, Int64s
    from assembler.sheet import Sheet


@dataclass(frozen=True)
class Braid:
    """A woven stretch, ready to be asked for what each pass lost.

    Args:
        track: from 0 in tape order.
        place: on the timeline.
        lost: of each pass, in the order of trust; counted from the start of the place.
    """

    track: int
    place: Range
    lost: Mapping[str, Runs]

    def taken(self, name: str, low: int, high: int) -> Iterator[tuple[str, Int64s]]:
        """Yield, for a part of the stretch, which samples that one pass lost come from which other one."""
        start = self.place[0]
        wanted = self.lost[name].within(low - start, high - start)
        for other, runs in self.lost.items():
            if other != name and wanted.size:
                is_lost = np.isin(wanted, runs.within(low - start, high - start), assume_unique=True)
                if not is_lost.all():
                    yield other, wanted[~is_lost] + start
                wanted = wanted[is_lost]

    def is_whole(self) -> bool:
        """Return whether each sample is right in some pass."""
        size = self.place[1] - self.place[0]
        return not any(
            reduce(np.intersect1d, (runs.within(*piece) for runs in self.lost.values())).size
            for piece in pieces_of([(0, size)], READ_SAMPLES)
        )


def braids_of(reel: ExaminedReel) -> list[Braid]:
    """Return the woven stretches of a reel in order, but for those that a pass has right as a whole after all."""
    flawed = ranges_by_track(reel.findings.flaws)
    good = {
        (one.name, track): without(merged(one.covered(track)), merged(flawed.get((one.name, track), ())))
        for track in {woven.track for woven in reel.findings.woven}
        for one in reel.passes
    }
    found = []
    for woven in sorted(reel.findings.woven, key=lambda one: (one.track, one.start)):
        lost = {one.pass_name: Runs(one.runs) for one in woven.lost}
        braid = Braid(woven.track, (woven.start, woven.end), lost)
        is_right = any(
            range_around(good[one.name, woven.track], braid.place) is not None
            for one in reel.passes
            if not any(reel.findings.are_unlike(one.name, other, woven.track) for other in lost)
        )
        if braid.is_whole() and not is_right:
            found.append(braid)
    return found


class Weaving:
    """What of one reel is woven on a delivered track.

    Args:
        reel: placed and compared.
        braids: its woven stretches, in order.
        bare: for each pass, by name, where a person has asked for it as it is.
    """

    def __init__(
        self, reel: ExaminedReel, braids: Sequence[Braid], bare: Mapping[str, Sequence[Range]]
    ) -> None:
        self._passes = {one.name: one for one in reel.passes}
        self._braids: dict[tuple[str, int], list[tuple[Range, Braid]]] = {}
        for braid in braids:
            for name in braid.lost:
                self._braids.setdefault((name, braid.track), []).extend(
                    (piece, braid) for piece in without([braid.place], merged(bare.get(name, ())))
                )

    def unwoven(self, name: str, track: int, place: Range) -> list[Range]:
        """Return what of a place is not woven where it is taken from one pass: its flaws stand there."""
        return without([place], [piece for piece, _ in self._near(name, track, place)])

    def fills(self, name: str, track: int, heard: Range, start: int) -> tuple[Filled, ...]:
        """Return what a span of one pass has from other ones.

        It is heard from its first sample to its last, with the fades that reach out of it.
        """
        found: dict[tuple[str, int], list[tuple[int, int, int]]] = {}
        for piece, braid in self._near(name, track, heard):
            for part in pieces_of(common([piece], [heard]), READ_SAMPLES):
                for other, at in braid.taken(name, *part):
                    for held in self._passes[other].maps[braid.track].covering(*part):
                        here = at[(at >= held.timeline_start) & (at < held.timeline_end)] - start
                        found.setdefault((other, start - held.shift), []).extend(runs_of(here))
        return tuple(
            Filled(other, pass_start, tuple(joined_runs(runs)))
            for (other, pass_start), runs in found.items()
            if runs
        )

    def samples(self, name: str, track: int, start: int, end: int) -> Int32s:
        """Return a pass's samples of a timeline range, woven where they are."""
        samples = self._passes[name].samples(track, start, end).copy()
        for piece, braid in self._near(name, track, (start, end)):
            for part in pieces_of(common([piece], [(start, end)]), READ_SAMPLES):
                for other, at in braid.taken(name, *part):
                    first = int(at[0])
                    found = self._passes[other].samples(track, first, int(at[-1]) + 1)
                    samples[at - start] = found[at - first]
        return samples

    def _near(self, name: str, track: int, place: Range) -> list[tuple[Range, Braid]]:
        found = self._braids.get((name, track), [])
        first = bisect_right(found, place[0], key=lambda one: one[0][1])
        return list(takewhile(lambda one: one[0][0] < place[1], islice(found, first, None)))


def weavings_of(
    sheet: Sheet,
    reels: Sequence[ExaminedReel],
    braids: Mapping[str, Sequence[Braid]],
    extent: Range,
    takes: Sequence[Take] | None,
    forced: Sequence[Forced] = (),
) -> dict[str, Weaving]:
    """Return what may be woven of each reel on a track: nothing that a person has asked for there as it is."""
    bare: dict[str, list[Range]] = {}
    if takes is not None:
        for take, low, high in stretches_of(takes, extent):
            if take.pass_name and not take.woven:
                bare.setdefault(take.pass_name, []).append((low, high))
    else:
        for one in forced:
            bare.setdefault(one.name, []).append((one.start, one.end))
    is_wanted = takes is not None or sheet.repair.mode == "auto"
    return {reel.name: Weaving(reel, braids[reel.name] if is_wanted else (), bare) for reel in reels}
