"""One track of all passes compared block by block: where they differ, how they vote, where one holds a level.

Passes that hold one and the same are one version, and are asked once: the work grows with what differs and not with who
agrees. Only ranges are kept of what is read, never samples. All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.notes import Shared, TrackBlock
from assembler.aligner.concealment.marks import tally_machines
from assembler.aligner.flaws.alone import likely_lines
from assembler.aligner.flaws.limits import LINE_SAMPLES
from assembler.aligner.records.limits import BRIDGE_SAMPLES, LEAST_TELLING, WINDOW_SAMPLES
from assembler.aligner.records.ranges import common, covering, ranges_of, total
from assembler.aligner.sound.glance import Glance, far_apart
from assembler.aligner.sound.levels import constant_runs
from assembler.arrays import within

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Int32s, Int64s


def read_block(passes: Sequence[PlacedPass], track: int, low: int, high: int, step: int) -> dict[int, Glance]:
    """Return what ``note_block`` reads of passes that hold a track."""
    return {
        index: Glance(one.samples(track, low - LINE_SAMPLES, high + LINE_SAMPLES), step)
        for index, one in enumerate(passes)
        if one.covered(track)
    }


def note_block(
    passes: Sequence[PlacedPass], track: int, low: int, high: int, step: int, read: Mapping[int, Glance]
) -> TrackBlock:
    """Return what a block shows of a track.

    What is ``read`` of each pass goes from ``low - LINE_SAMPLES`` to ``high + LINE_SAMPLES``; passes that hold the same
    share it.
    """
    notes = TrackBlock()
    present = {i: own for i, p in enumerate(passes) if (own := common(p.covered(track), [(low, high)]))}
    if not present:
        return notes  # a gap between passes, or all of them stand still
    seen = {index: read[index] for index in present}
    versions = versions_of(seen, present, low, step)
    _note_differences(versions, notes)
    scanned = {glance: _held_ranges(glance, low - LINE_SAMPLES, step) for glance in seen.values()}
    for index, glance in seen.items():
        notes.held.append((index, *scanned[glance]))
    return notes


def _held_ranges(glance: Glance, low: int, step: int) -> tuple[list[Range], list[Range]]:
    """Return runs and lines of a piece that begins at a place."""
    samples = glance.samples
    runs = constant_runs(samples) if glance.has_level else []
    lines = likely_lines(samples, step) if glance.has_line else []
    return (
        [(run.start + low, run.end + low) for run in runs],
        [(start + low, end + low) for start, end in lines],
    )


def _note_differences(versions: Sequence[Version], notes: TrackBlock) -> None:
    """Note what each two passes share, where any differ, and what that says of who is right and of machines."""
    found: dict[tuple[Version, Version], tuple[Shared, Bools | None]] = {}
    of_pass = dict(sorted((index, version) for version in versions for index in version.passes))
    for (first, own), (second, other) in combinations(of_pass.items(), 2):
        if (own, other) not in found:
            found[own, other] = _compared(own, other)
        notes.pairs[first, second], _ = found[own, other]
    masks = [mask for _, mask in found.values() if mask is not None]
    if not masks:
        return
    low, differing = versions[0].low, np.logical_or.reduce(masks)
    if len(of_pass) == 2:
        notes.split[tuple(of_pass)] = ranges_of(differing, offset=low, bridge=BRIDGE_SAMPLES)
    else:
        # Where none differ there is nothing to vote on.
        at = np.flatnonzero(differing)
        _note_votes(versions, slice(int(at[0]), int(at[-1]) + 1), notes)
    notes.machines.update(_machines(versions, np.flatnonzero(differing)))


def _machines(versions: Sequence[Version], at: Int64s) -> dict[int, Int64s]:
    """Return what the samples in which passes differ say of the machine of each, were they concealed."""
    # Each is held against two samples on either side: no more is looked at than that, from the first to the last.
    first, last = int(at[0]), int(at[-1])
    near = slice(LINE_SAMPLES + first - 2, LINE_SAMPLES + last + 3)
    held = [version.around[near] for version in versions]
    present = [np.pad(version.present, 2)[first : last + 5] for version in versions]
    tallies = tally_machines(held, present, at - (first - 2), versions[0].step)
    return {
        index: tally for version, tally in zip(versions, tallies, strict=True) for index in version.passes
    }


def _compared(first: Version, second: Version) -> tuple[Shared, Bools | None]:
    """Return what two versions share of a block, and where they differ; None where they do not."""
    samples, others = first.samples, second.samples
    both = common(first.covered, second.covered)
    parts = [slice(a - first.low, b - first.low) for a, b in both]
    whole = samples.size // WINDOW_SAMPLES * WINDOW_SAMPLES
    held = covering(both, first.low, samples.size)[:whole].reshape(-1, WINDOW_SAMPLES).all(axis=1)
    compared = min(int((one.sounds & held).sum()) for one in (first, second))
    if samples is others or all(np.array_equal(samples[part], others[part]) for part in parts):
        return Shared(total(both), compared, compared), None
    mask = np.zeros(samples.size, np.bool_)
    for part in parts:
        np.not_equal(samples[part], others[part], out=mask[part])
    odd = mask & ~_lost_in_one(first, second, mask)
    telling = first.sounds & second.sounds & held & ~odd[:whole].reshape(-1, WINDOW_SAMPLES).any(axis=1)
    largest = int(np.abs(samples[mask].astype(np.int64) - others[mask]).max())
    touched = int(mask[:whole].reshape(-1, WINDOW_SAMPLES).any(axis=1).sum())
    return Shared(total(both), compared, int(telling.sum()), int(mask.sum()), touched, largest), mask


def _lost_in_one(first: Version, second: Version, differs: Bools) -> Bools:
    """Return which differing samples one of two versions may have lost, where their sound tells that from its own.

    Sound so slow that half of what is the same looks lost as well tells nothing.
    """
    found = np.zeros(differs.size, np.bool_)
    inner = differs[2:-2]
    if 2 * np.count_nonzero(first.looks_lost & ~inner) <= inner.size - np.count_nonzero(inner) > 0:
        found[2:-2] = inner & (first.looks_lost | second.looks_lost)
    return found


def _note_votes(versions: Sequence[Version], where: slice, notes: TrackBlock) -> None:
    """Count for each sample of a part which pass agrees with how many others."""
    here = np.stack([version.present[where] for version in versions])
    held = [version.samples[where] for version in versions]
    sizes = np.array([[len(version.passes)] for version in versions], np.int8)
    agree = here * (sizes - 1)
    for a, b in combinations(range(len(versions)), 2):
        same = (held[a] == held[b]) & here[a] & here[b]
        agree[a] += same * sizes[b]
        agree[b] += same * sizes[a]
    most = agree.max(axis=0)
    losing = here & (agree < most)
    # A majority is one group larger than every other; two pairs that contradict each other settle nothing.
    holders = (sizes * (here & (agree == most))).sum(axis=0)
    settled = (most >= 1) & (holders == most + 1)
    low = versions[0].low + where.start
    outvoted: dict[int, list[Range]] = {}
    for version, own in zip(versions, losing & settled, strict=True):
        if own.any():
            places = ranges_of(own, offset=low, bridge=BRIDGE_SAMPLES)
            outvoted |= dict.fromkeys(version.passes, places)
    notes.outvoted.update(sorted(outvoted.items()))
    is_split = ~settled & (holders > 1)
    # One pass may stop, or end, just where another begins: what each few of them hold is a place of its own.
    known = {edge - low for version in versions for held in version.covered for edge in held}
    edges = [0, *sorted(edge for edge in known if 0 < edge < is_split.size), is_split.size]
    for first, last in pairwise(edges):
        holding = [version for version, own in zip(versions, here, strict=True) if own[first]]
        members = tuple(sorted(index for version in holding for index in version.passes))
        if places := ranges_of(is_split[first:last], offset=low + first, bridge=BRIDGE_SAMPLES):
            notes.split.setdefault(members, []).extend(places)


@dataclass(frozen=True, eq=False)
class Version:
    """What some passes hold of a block, one and the same.

    Args:
        passes: indices of these, in the order of trust.
        around: samples of the block, and ``LINE_SAMPLES`` more on either side.
        covered: timeline ranges of the block that the passes hold.
        low: timeline sample at which it begins.
        step: one step of the tape's word length.
    """

    passes: Sequence[int]
    around: Int32s
    covered: Sequence[Range]
    low: int
    step: int

    @cached_property
    def samples(self) -> Int32s:
        """Samples of the block, shape (samples,)."""
        return self.around[LINE_SAMPLES:-LINE_SAMPLES]

    @cached_property
    def present(self) -> Bools:
        """Which of them the passes hold, same shape."""
        return covering(self.covered, self.low, self.samples.size)

    @cached_property
    def sounds(self) -> Bools:
        """Which whole stretches of ``WINDOW_SAMPLES`` sound, shape (stretches,)."""
        whole = self.samples.size // WINDOW_SAMPLES * WINDOW_SAMPLES
        return far_apart(self.samples[:whole].reshape(-1, WINDOW_SAMPLES), LEAST_TELLING)

    @cached_property
    def looks_lost(self) -> Bools:
        """Of all samples but two at either end what `may_be_concealed` says of some, shape (samples - 4,)."""
        inner, before = self.samples[2:-2], self.samples[1:-3]
        return np.asarray(
            within(before + self.samples[3:-1] - 2 * inner, self.step) | (inner == before), np.bool_
        )


def versions_of(
    seen: Mapping[int, Glance], covered: Mapping[int, Sequence[Range]], low: int, step: int
) -> list[Version]:
    """Return the versions of a block.

    What is ``seen`` of a pass reaches ``LINE_SAMPLES`` beyond the block, that begins at ``low``, on either side.
    """
    holders: dict[tuple[Glance, tuple[Range, ...]], list[int]] = {}
    for index, glance in seen.items():
        holders.setdefault((glance, tuple(covered[index])), []).append(index)
    return [Version(own, glance.samples, held, low, step) for (glance, held), own in holders.items()]
