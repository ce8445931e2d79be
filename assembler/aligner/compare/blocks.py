"""One track of all passes compared block by block: where they differ, how they vote, where one holds a level.

Only ranges are kept of what is read, never samples. All positions are timeline samples.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.limits import LEAST_TELLING
from assembler.aligner.compare.notes.track import Shared, TrackBlock
from assembler.aligner.concealment.marks import tally_machines
from assembler.aligner.flaws.interrupting import likely_lines
from assembler.aligner.flaws.limits import LINE_SAMPLES
from assembler.aligner.records.limits import BRIDGE_SAMPLES
from assembler.aligner.records.ranges import common, ranges_of, total
from assembler.aligner.sound.glance.glance import Glance, far_apart
from assembler.aligner.sound.levels import constant_runs
from assembler.aligner.sound.limits import WINDOW_SAMPLES
from assembler.arrays import within

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

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

    Args:
        passes: in the order of trust.
        track: from 0 in tape order.
        low: first sample of the block.
        high: first sample behind it.
        step: one step of the tape's word length.
        read: samples of each pass from ``low - LINE_SAMPLES`` to ``high + LINE_SAMPLES``; one where they are the same.
    """
    notes = TrackBlock()
    present = {i: own for i, p in enumerate(passes) if (own := common(p.covered(track), [(low, high)]))}
    if not present:
        return notes  # a gap between passes, or all of them stand still
    seen = {i: read[i] for i in present}
    held = {i: glance.samples for i, glance in seen.items()}
    cut = {glance: glance.samples[LINE_SAMPLES:-LINE_SAMPLES] for glance in seen.values()}
    _note_differences({i: cut[glance] for i, glance in seen.items()}, present, low, step, notes)
    notes.machines.update(_machines(held, present, low - LINE_SAMPLES, step))
    scanned = {glance: _held_ranges(glance, low - LINE_SAMPLES, step) for glance in cut}
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


def _machines(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]], low: int, step: int
) -> dict[int, Int64s]:
    """Return what samples in which passes differ say of the machine of each, were they concealed."""
    size = next(iter(held.values())).size
    differing = np.zeros(size, np.bool_)
    asked: set[object] = set()
    for first, second, both, which in _pairs(held, covered):
        if held[first] is not held[second] and which not in asked:
            asked.add(which)
            differing |= _covering(both, low, size) & (held[first] != held[second])
    at = np.flatnonzero(differing)
    if not at.size:
        return {}
    # Each is held against two samples on either side: no more is looked at than that, from the first to the last.
    near = slice(int(at[0]) - 2, int(at[-1]) + 3)
    present = {index: _covering(own, low, size)[near] for index, own in covered.items()}
    return tally_machines({i: own[near] for i, own in held.items()}, present, at - near.start, step)


def _pairs(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]]
) -> Iterator[tuple[int, int, list[Range], object]]:
    """Yield pairs of passes, where both hold samples, and a key that pairs share whose samples there are one array."""
    for first, second in combinations(held, 2):
        both = common(covered[first], covered[second])
        yield first, second, both, (id(held[first]), id(held[second]), *both)


def _note_differences(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]], low: int, step: int, notes: TrackBlock
) -> None:
    masks: dict[tuple[int, int], Bools] = {}
    found: dict[object, tuple[Shared, Bools | None]] = {}
    for first, second, both, which in _pairs(held, covered):
        if which not in found:
            found[which] = _compared(held[first], held[second], both, low, step)
        notes.pairs[first, second], mask = found[which]
        if mask is not None:
            masks[first, second] = mask
    if not masks:
        return
    if len(held) == 2:
        [(pair, mask)] = masks.items()
        notes.split[pair] = ranges_of(mask, offset=low, bridge=BRIDGE_SAMPLES)
    else:
        # Where none differ there is nothing to vote on.
        differing = np.flatnonzero(np.logical_or.reduce(list(masks.values())))
        start, end = int(differing[0]), int(differing[-1]) + 1
        inside = {index: samples[start:end] for index, samples in held.items()}
        shared = {index: common(ranges, [(low + start, low + end)]) for index, ranges in covered.items()}
        _note_votes(inside, shared, low + start, notes)


def _compared(
    first: Int32s, second: Int32s, both: Sequence[Range], low: int, step: int
) -> tuple[Shared, Bools | None]:
    """Return what two passes share of a block, and where they differ; None where they do not."""
    whole = first.size // WINDOW_SAMPLES * WINDOW_SAMPLES
    telling = far_apart(first[:whole].reshape(-1, WINDOW_SAMPLES), LEAST_TELLING)
    parts = [slice(a - low, b - low) for a, b in both]
    if parts != [slice(0, first.size)]:
        telling &= _covering(both, low, first.size)[:whole].reshape(-1, WINDOW_SAMPLES).all(axis=1)
    compared = int(telling.sum())
    if first is second or all(np.array_equal(first[part], second[part]) for part in parts):
        return Shared(total(both), compared, compared), None
    mask = np.zeros(first.size, np.bool_)
    for part in parts:
        np.not_equal(first[part], second[part], out=mask[part])
    odd = mask & ~_lost_in_one(first, second, mask, step)
    telling &= ~odd[:whole].reshape(-1, WINDOW_SAMPLES).any(axis=1)
    largest = int(np.abs(first[mask].astype(np.int64) - second[mask]).max())
    return Shared(total(both), compared, int(telling.sum()), int(mask.sum()), largest), mask


def _lost_in_one(first: Int32s, second: Int32s, differs: Bools, step: int) -> Bools:
    """Return which differing samples one of two passes may have lost, where their sound tells that from its own.

    Sound so slow that half of what is the same looks lost as well tells nothing.
    """
    found = np.zeros(differs.size, np.bool_)
    inner = differs[2:-2]
    looks = _look_lost(first, step)
    if 2 * np.count_nonzero(looks & ~inner) <= inner.size - np.count_nonzero(inner) > 0:
        found[2:-2] = inner & (looks | _look_lost(second, step))
    return found


def _look_lost(samples: Int32s, step: int) -> Bools:
    """Return of all but two samples at either end what `may_be_concealed` does of some."""
    inner = samples[2:-2]
    return np.asarray(
        within(samples[1:-3] + samples[3:-1] - 2 * inner, step) | (inner == samples[1:-3]), np.bool_
    )


def _covering(ranges: Sequence[Range], low: int, size: int) -> Bools:
    """Return which samples from ``low`` on lie in some ranges, shape (size,)."""
    here = np.zeros(size, np.bool_)
    for start, end in ranges:
        here[start - low : end - low] = True
    return here


def _note_votes(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]], low: int, notes: TrackBlock
) -> None:
    """Count for each sample which pass agrees with how many others."""
    indices, size = list(held), next(iter(held.values())).size
    here = np.stack([_covering(covered[index], low, size) for index in indices])
    agree = np.zeros((len(indices), size), np.int8)
    for a, b in combinations(range(len(indices)), 2):
        same = (held[indices[a]] == held[indices[b]]) & here[a] & here[b]
        agree[a] += same
        agree[b] += same
    most = agree.max(axis=0)
    losing = here & (agree < most)
    # A majority is one group larger than every other; two pairs that contradict each other settle nothing.
    holders = (here & (agree == most)).sum(axis=0)
    settled = (most >= 1) & (holders == most + 1)
    for row, index in enumerate(indices):
        mask = losing[row] & settled
        if mask.any():
            notes.outvoted[index] = ranges_of(mask, offset=low, bridge=BRIDGE_SAMPLES)
    for start, end in ranges_of(~settled & (holders > 1), bridge=BRIDGE_SAMPLES):
        present = tuple(index for row, index in enumerate(indices) if here[row, start:end].all())
        if len(present) > 1:
            notes.split.setdefault(present, []).append((start + low, end + low))
