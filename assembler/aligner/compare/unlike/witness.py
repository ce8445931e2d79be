"""Passes that hold other numbers all along, heard as if their chains were transparent: witnesses to the better ones.

Where a pass differs from a better one by no more than its chain's noise it holds that one's samples; elsewhere its own
with the chain undone. So heard it is compared as any other pass; what is delivered of it are always its own samples.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.blocks import note_block, read_block
from assembler.aligner.compare.limits import CHAIN_REACH, NOISE_BLOCK, NOISE_BLOCKS
from assembler.aligner.compare.notes import TrackNotes
from assembler.aligner.compare.unlike.chain import find_chain
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, joined_flaws
from assembler.aligner.records.limits import READ_SAMPLES, WINDOW_SAMPLES
from assembler.aligner.records.passes import PlacedPass, covered_by
from assembler.aligner.records.ranges import common, merged, pieces_of, ranges_of, without
from assembler.aligner.sound.chain.measures import pieces_of_both

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from assembler.aligner.compare.track import Weighed
    from assembler.aligner.compare.unlike.chain import Chain
    from assembler.arrays import Int32s, Int64s


@dataclass(frozen=True)
class Witness(PlacedPass):
    """A pass on one track, with its chain undone.

    Args:
        own_track: the track; others are read as they are.
        better: pass that it is held against.
        chain: what makes the better pass's samples of its own.
        differing: where it differs from the better pass by more than noise, in order; shape (ranges, 2).
    """

    own_track: int
    better: PlacedPass
    chain: Chain
    differing: Int64s

    def samples(self, track: int, start: int, end: int) -> Int32s:
        """Return the better pass's samples where it agrees with them, else its own with the chain undone."""
        if track != self.own_track:
            return PlacedPass.samples(self, track, start, end)
        out = self.better.samples(track, start, end)
        held = common([(start, end)], merged(self.covered(track)))
        alone = without(held, merged(self.better.covered(track)))
        first, last = (
            np.searchsorted(self.differing[:, 1], start, "right"),
            np.searchsorted(self.differing[:, 0], end),
        )
        for low, high in merged([*common(held, self.differing[first:last].tolist()), *alone]):
            out[low - start : high - start] = self._undone(low, high)
        for low, high in without([(start, end)], held):
            out[low - start : high - start] = 0
        return out

    def _undone(self, start: int, end: int) -> Int32s:
        own = PlacedPass.samples(self, self.own_track, start - CHAIN_REACH, end + CHAIN_REACH)
        step = self.chain.step
        return np.asarray(np.rint(self.chain.undone(own) / step) * step, np.int32)


def heard_through(
    passes: Sequence[PlacedPass], track: int, notes: TrackNotes, step: int
) -> tuple[Sequence[PlacedPass], TrackNotes, frozenset[str]]:
    """Return the passes of a track with unlike ones as witnesses, what comparing them notes, and the witnesses' names.

    Where no pass is unlike, or what its chain did cannot be told, passes and notes are as they were.
    """
    holding = [index for index, one in enumerate(passes) if one.covered(track)]
    if not holding:
        return passes, notes, frozenset()
    support = {i: sum(not notes.are_unlike(i, other) for other in holding if other != i) for i in holding}
    best = min(holding, key=lambda index: -support[index])
    heard = list(passes)
    for index in holding:
        if index == best or not notes.are_unlike(best, index):
            continue
        witness = _witness(passes[index], passes[best], track, step)
        if witness is None:
            return passes, notes, frozenset()
        heard[index] = witness
    names = frozenset(one.name for one in heard if isinstance(one, Witness))
    if not names:
        return passes, notes, names
    fresh = TrackNotes()
    for low, high in pieces_of(covered_by(heard, track), READ_SAMPLES):
        read = read_block(heard, track, low, high, step)
        fresh.add(note_block(heard, track, low, high, step, read), high)
    # What a pass shows by itself it shows in its own numbers.
    return heard, replace(fresh, runs=notes.runs, lines=notes.lines, means=notes.means), names


def believed(result: Weighed, names: Collection[str]) -> Weighed:
    """Return what a track says without what a witness's own flaws seem to show of the better passes beside them.

    Undoing a chain smears a flaw over as much sound as its filter reaches, and bends what a machine drew.
    """
    shown = [flaw for flaw in result.flaws if flaw.pass_name in names]
    beside = merged((flaw.start - 2 * CHAIN_REACH, flaw.end + 2 * CHAIN_REACH) for flaw in shown)
    flaws: list[FoundFlaw] = []
    told = partial(FoundFlaw, because=Because(Rule.SMEARED))
    for flaw in result.flaws:
        is_doubtful = flaw.kind in ("disagreement", "click") and flaw.pass_name not in names
        if not (is_doubtful and common([(flaw.start, flaw.end)], beside)):
            flaws.append(flaw)
            continue
        flaws += [told(name, flaw.track, "disagreement", flaw.start, flaw.end) for name in names]
    undecided = [
        place
        for place in result.undecided
        if place.end - place.start > CHAIN_REACH or not common([(place.start, place.end)], beside)
    ]
    return replace(result, flaws=joined_flaws(flaws), undecided=undecided)


def _witness(one: PlacedPass, better: PlacedPass, track: int, step: int) -> Witness | None:
    pieces = pieces_of_both(better, one, track)
    chain = find_chain(pieces, step) if pieces else None
    if chain is None:
        return None
    both = common(merged(better.covered(track)), merged(one.covered(track)))
    # A filter that reaches over the end of a stretch tells nothing.
    inner = [
        (low + WINDOW_SAMPLES, high - WINDOW_SAMPLES)
        for low, high in common(better.covered(track), one.covered(track))
        if high - low > 2 * WINDOW_SAMPLES
    ]
    # What tells the usual noise around a place.
    margin = (NOISE_BLOCKS // 2 + 1) * NOISE_BLOCK
    differing = [np.empty((0, 2), np.int64)]
    for low, high in pieces_of(both, READ_SAMPLES):
        first, last = low - margin, high + margin
        undone = chain.undone(one.samples(track, first - CHAIN_REACH, last + CHAIN_REACH))
        held = better.samples(track, first, last).astype(np.float64)
        for a, b in without([(first, last)], inner):
            undone[a - first : b - first] = held[a - first : b - first]
        mask = chain.differing(held, undone)[margin:-margin]
        differing.append(np.array(ranges_of(mask, offset=low), np.int64).reshape(-1, 2))
    return Witness(one.name, one.reader, one.maps, track, better, chain, np.concatenate(differing))
