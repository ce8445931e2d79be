"""One track of all passes compared block by block: where they differ, how they vote, where one holds a level.

Only ranges are kept of what is read, never samples. All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from assembler.aligner.compare.limits import (
    LEAST_COMPARED,
    LEAST_IDENTICAL,
    LEAST_OVERLAP,
    LEAST_TELLING,
    LIKENESS_SAMPLES,
    RUN_MARGIN,
)
from assembler.aligner.compare.proofs import Proofs
from assembler.aligner.compare.sparse import SparseRanges, held_ranges
from assembler.aligner.concealment.marks import TALLY_COUNTS, tally_machines
from assembler.aligner.judge.limits import BRIDGE_SAMPLES
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.ranges import common, ranges_of, total
from assembler.aligner.sound.glance.glance import far_apart

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from assembler.aligner.concealment.rows import Row
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.glance.glance import Glance
    from assembler.arrays import Bools, Int32s, Int64s


@dataclass
class TrackNotes:
    """What has been seen of one track so far; only ranges, never samples."""

    outvoted: dict[int, list[Range]] = field(default_factory=dict)
    split: dict[tuple[int, ...], list[Range]] = field(default_factory=dict)
    runs: dict[int, SparseRanges] = field(default_factory=dict)
    lines: dict[int, SparseRanges] = field(default_factory=dict)
    means: dict[int, list[Range]] = field(default_factory=dict)
    proofs: dict[int, Proofs] = field(default_factory=dict)
    differing: dict[tuple[int, int], int] = field(default_factory=dict)
    overlap: dict[tuple[int, int], int] = field(default_factory=dict)
    compared: dict[tuple[int, int], int] = field(default_factory=dict)
    identical: dict[tuple[int, int], int] = field(default_factory=dict)
    largest: dict[tuple[int, int], int] = field(default_factory=dict)
    machines: dict[int, Int64s] = field(default_factory=dict)
    weak: dict[int, list[Row]] = field(default_factory=dict)

    def add_held(self, index: int, runs: list[Range], lines: list[Range], known_to: int) -> None:
        """Note levels that a pass holds, and its lines; see ``SparseRanges.add``."""
        self.runs.setdefault(index, SparseRanges()).add(runs, known_to)
        self.lines.setdefault(index, SparseRanges()).add(lines, known_to)

    def add_means(self, index: int, place: Range, seen: Range, because: Because) -> None:
        """Note that a pass lost samples in a place, and what says so; see ``Proofs.add``."""
        self.means.setdefault(index, []).append(place)
        self.proofs.setdefault(index, Proofs()).add(place, seen, because)

    def add_row(self, index: int, row: Row, seen: Range) -> None:
        """Note a row of means, as one that proves itself or as a weak one."""
        if row.is_proof:
            self.add_means(index, (row.start, row.end), seen, Because(Rule.MEANS_IN_A_ROW, row.nats))
        elif seen[0] <= row.start < seen[1]:
            self.weak.setdefault(index, []).append(row)


def note_block(
    passes: Sequence[PlacedPass],
    track: int,
    low: int,
    high: int,
    step: int,
    notes: TrackNotes,
    read: Mapping[int, Glance],
) -> None:
    """Note what a block shows.

    Args:
        passes: in the order of trust.
        track: from 0 in tape order.
        low: first sample of the block.
        high: first sample behind it.
        step: one step of the tape's word length.
        notes: of that track; added to.
        read: samples of each pass from ``low - RUN_MARGIN`` to ``high + RUN_MARGIN``; one and the same where they are.
    """
    present = {i: own for i, p in enumerate(passes) if (own := common(p.covered(track), [(low, high)]))}
    if not present:
        return  # a gap between passes, or all of them stand still
    seen = {i: read[i] for i in present}
    held = {i: glance.samples for i, glance in seen.items()}
    cut = {glance: glance.samples[RUN_MARGIN:-RUN_MARGIN] for glance in seen.values()}
    _note_differences({i: cut[glance] for i, glance in seen.items()}, present, low, notes)
    _note_machines(held, present, low, step, notes)
    scanned = {glance: held_ranges(glance, low - RUN_MARGIN, step) for glance in cut}
    for index, glance in seen.items():
        runs, lines, rows = scanned[glance]
        notes.add_held(index, runs, lines, high)
        for row in rows:
            notes.add_row(index, row, (low, high))


def _note_machines(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]], low: int, step: int, notes: TrackNotes
) -> None:
    """Count what samples in which passes differ say of each machine, were they concealed."""
    size = next(iter(held.values())).size
    differing = np.zeros(size, np.bool_)
    asked: set[object] = set()
    for first, second, both, which in _pairs(held, covered):
        if held[first] is not held[second] and which not in asked:
            asked.add(which)
            differing |= _covering(both, low - RUN_MARGIN, size) & (held[first] != held[second])
    at = np.flatnonzero(differing)
    if at.size:
        present = {index: _covering(own, low - RUN_MARGIN, size) for index, own in covered.items()}
        for index, tally in tally_machines(held, present, at, step).items():
            notes.machines[index] = notes.machines.get(index, np.zeros(TALLY_COUNTS, np.int64)) + tally


def _pairs(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]]
) -> Iterator[tuple[int, int, list[Range], object]]:
    """Yield pairs of passes, where both hold samples, and a key that pairs share whose samples there are one array."""
    for first, second in combinations(held, 2):
        both = common(covered[first], covered[second])
        yield first, second, both, (id(held[first]), id(held[second]), *both)


def _note_differences(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]], low: int, notes: TrackNotes
) -> None:
    masks: dict[tuple[int, int], Bools] = {}
    found: dict[object, _Found] = {}
    for first, second, both, which in _pairs(held, covered):
        if which not in found:
            found[which] = _compared(held[first], held[second], both, low)
        pair, one = (first, second), found[which]
        notes.compared[pair] = notes.compared.get(pair, 0) + one.compared
        notes.overlap[pair] = notes.overlap.get(pair, 0) + total(both)
        notes.identical[pair] = notes.identical.get(pair, 0) + one.identical
        if one.mask is not None:
            masks[pair] = one.mask
            notes.differing[pair] = notes.differing.get(pair, 0) + one.differing
            notes.largest[pair] = max(notes.largest.get(pair, 0), one.largest)
    if not masks:
        return
    if len(held) == 2:
        add_ranges(
            notes.split.setdefault(pair, []), ranges_of(masks[pair], offset=low, bridge=BRIDGE_SAMPLES)
        )
    else:
        # Where none differ there is nothing to vote on.
        differing = np.flatnonzero(np.logical_or.reduce(list(masks.values())))
        start, end = int(differing[0]), int(differing[-1]) + 1
        inside = {index: samples[start:end] for index, samples in held.items()}
        shared = {index: common(ranges, [(low + start, low + end)]) for index, ranges in covered.items()}
        _note_votes(inside, shared, low + start, notes)


class _Found(NamedTuple):
    """Where two passes differ, in how many samples, by how much; stretches that sound, and those that are the same."""

    mask: Bools | None
    compared: int
    identical: int
    differing: int = 0
    largest: int = 0


def _compared(first: Int32s, second: Int32s, both: Sequence[Range], low: int) -> _Found:
    whole = first.size // LIKENESS_SAMPLES * LIKENESS_SAMPLES
    telling = far_apart(first[:whole].reshape(-1, LIKENESS_SAMPLES), LEAST_TELLING)
    parts = [slice(a - low, b - low) for a, b in both]
    if parts != [slice(0, first.size)]:
        telling &= _covering(both, low, first.size)[:whole].reshape(-1, LIKENESS_SAMPLES).all(axis=1)
    compared = int(telling.sum())
    if first is second or all(np.array_equal(first[part], second[part]) for part in parts):
        return _Found(None, compared, compared)
    mask = np.zeros(first.size, np.bool_)
    for part in parts:
        np.not_equal(first[part], second[part], out=mask[part])
    telling &= ~mask[:whole].reshape(-1, LIKENESS_SAMPLES).any(axis=1)
    largest = int(np.abs(first[mask].astype(np.int64) - second[mask]).max())
    return _Found(mask, compared, int(telling.sum()), int(mask.sum()), largest)


def _covering(ranges: Sequence[Range], low: int, size: int) -> Bools:
    """Return which samples from ``low`` on lie in some ranges, shape (size,)."""
    here = np.zeros(size, np.bool_)
    for start, end in ranges:
        here[start - low : end - low] = True
    return here


def _note_votes(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]], low: int, notes: TrackNotes
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
            found = ranges_of(mask, offset=low, bridge=BRIDGE_SAMPLES)
            add_ranges(notes.outvoted.setdefault(index, []), found)
    for start, end in ranges_of(~settled & (holders > 1), bridge=BRIDGE_SAMPLES):
        present = tuple(index for row, index in enumerate(indices) if here[row, start:end].all())
        if len(present) > 1:
            add_ranges(notes.split.setdefault(present, []), [(start + low, end + low)])


def add_ranges(places: list[Range], found: Sequence[Range]) -> None:
    """Append ranges in order; what is noted of two blocks is bridged as within one."""
    for start, end in found:
        if places and start - places[-1][1] <= BRIDGE_SAMPLES:
            places[-1] = places[-1][0], end
        else:
            places.append((start, end))


def is_unlike(track_notes: TrackNotes, first: int, second: int) -> bool:
    """Return whether two passes hold other numbers all along; one long flaw leaves them the same beside it."""
    pair = min(first, second), max(first, second)
    told = track_notes.differing, track_notes.compared, track_notes.overlap
    differing, compared, overlap = (counts.get(pair, 0) for counts in told)
    if overlap < LEAST_OVERLAP:
        return False
    if LIKENESS_SAMPLES * compared < LEAST_COMPARED * overlap:
        return differing > 0.5 * overlap
    return differing > 0 and track_notes.identical.get(pair, 0) < LEAST_IDENTICAL * compared
