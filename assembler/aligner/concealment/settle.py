"""Of captures that differ in single samples: which of them lost which ones, and concealed that.

The likeliest truth is taken where concealment explains a patch of differences: the lost samples stand as a machine
leaves them, and sound hardly stands so by itself.

Audio is ``int64`` in sample values, shape ``(captures, samples)``; positions count from the window's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import (
    BORDER_NATS,
    DECIDED_NATS,
    LEAST_EVIDENCE,
    LEAST_SURPRISE,
    PATCH_BRIDGE,
)
from assembler.aligner.concealment.marks import THROUGHOUT, UP_TO_MEAN, Machine, rows_of
from assembler.aligner.concealment.surprise import (
    by_chance,
    long_levels,
    may_be_concealed,
    still_of,
    told_before,
)
from assembler.aligner.concealment.truth.likeliest import likeliest_truths
from assembler.aligner.records.ranges import ranges_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.concealment.truth.window import Choice, Window
    from assembler.arrays import Bools, Float64s, Int64s


@dataclass(frozen=True)
class Settled:
    """What is said of the differing samples of a window.

    Args:
        settled: where concealment explains the difference and one truth leads, shape (samples,).
        open: where it explains the difference, and no truth leads or none of the captures has it; and where all have
            likely lost the same.
        taken: index of the capture whose value is likeliest, shape (samples,).
        lost: which captures lost a sample that is settled or open, shape (captures, samples).
        lead: how far the likeliest truth leads any other value, in nats, shape (samples,).
        surprise: how unlikely it is by chance that a lost sample is what concealment makes, in nats, shape as ``lost``;
            0 for others.
    """

    settled: Bools
    open: Bools
    taken: Int64s
    lost: Bools
    lead: Float64s
    surprise: Float64s

    def part(self, which: slice) -> Settled:
        """Return what is said of some of the samples."""
        return Settled(
            self.settled[which],
            self.open[which],
            self.taken[which],
            self.lost[:, which],
            self.lead[which],
            self.surprise[:, which],
        )


def settle(windows: Sequence[Window]) -> list[Settled]:
    """Return which captures lost which of the samples in which they differ; nothing where that has another cause.

    Args:
        windows: of the tracks of a tape, all of one stretch.
    """
    if not any(map(may_be_concealed, windows)):
        return [_nothing(*window.versions.shape) for window in windows]
    return [_settled(window, *one) for window, one in zip(windows, likeliest_truths(windows), strict=True)]


def _nothing(captures: int, size: int) -> Settled:
    return Settled(
        np.zeros(size, np.bool_),
        np.zeros(size, np.bool_),
        np.zeros(size, np.int64),
        np.zeros((captures, size), np.bool_),
        np.zeros(size),
        np.zeros((captures, size)),
    )


def _settled(window: Window, choice: Choice, lost_in_all: Bools) -> Settled:
    versions, differs = window.versions, window.differing
    at = np.flatnonzero(differs)
    captures, size = versions.shape
    said = _nothing(captures, size)
    if not at.size:
        return said
    lost = np.zeros((captures, size), np.bool_)
    lost[:, at] = choice.lost
    still = still_of(versions)
    levels = lost & long_levels(still)
    surprise = np.where(levels, 0.0, by_chance(window, still) * _kept_to(window, lost))
    told = np.where(told_before(versions), 0.0, surprise)
    # What is not as concealment leaves it may be any value.
    odd = np.where((lost & ~levels & ~(surprise > 0)).any(axis=0), window.bits * np.log(2.0), 0.0)
    explained = np.asarray(_accepted(differs, odd, told) & ~levels.any(axis=0), np.bool_)
    accepted = explained[at]
    leads = choice.lead >= DECIDED_NATS
    has_truth = choice.truth < captures
    said.settled[at] = accepted & leads & has_truth
    said.open[at] = accepted & ~(leads & has_truth)
    said.taken[at] = np.where(has_truth, choice.truth, 0)
    lost &= said.settled | said.open
    said.lead[at] = choice.lead
    # Between what is explained all captures may have lost the same samples.
    in_all = lost_in_all & _between(explained)
    said.open[in_all] = True
    surprise = np.where(lost, surprise, 0.0)
    return replace(said, lost=lost | (in_all & window.present), surprise=surprise)


def _kept_to(window: Window, lost: Bools) -> Bools:
    """Return which lost samples stand as the rule of their capture's machine leaves them."""
    marks = window.marks
    return np.stack(
        [_by_rule(*own) for own in zip(window.machines, lost, marks.mean, marks.held, strict=True)]
    )


def _between(explained: Bools) -> Bools:
    """Return the samples from the first to the last of each patch of some."""
    inside = np.zeros(explained.size, np.bool_)
    for start, end in ranges_of(explained, bridge=PATCH_BRIDGE):
        inside[start:end] = True
    return inside


def _accepted(differs: Bools, odd: Float64s, surprise: Float64s) -> Bools:
    """Return the differing samples that concealment explains, and that sound or another flaw hardly explains.

    In each patch of differences concealment sets in and ends, as often as the lost samples bear it out.

    Args:
        differs: which samples differ, shape (samples,).
        odd: cost of those that were lost and are not as concealment leaves them, in nats, same shape.
        surprise: how unlikely it is by chance that the others are, in nats, shape (captures, samples).
    """
    said = _said_by_rows(surprise) - odd
    at = np.flatnonzero(differs)
    patches = ranges_of(differs, bridge=PATCH_BRIDGE)
    starts = np.searchsorted(at, [start for start, _ in patches])
    sizes = np.diff(np.append(starts, at.size))
    accepted = np.zeros(differs.size, np.bool_)
    for start, size in zip(starts.tolist(), sizes.tolist(), strict=True):
        part = at[start : start + size]
        accepted[part] = _bearing_out(said[part])
    return accepted


def _bearing_out(said: Float64s) -> Bools:
    """Return which of a row of samples are concealed: the cheapest way to go in and out of concealment."""
    if not (said < 0).any():
        enough = max(LEAST_EVIDENCE, LEAST_SURPRISE * np.count_nonzero(said))
        return np.full(said.size, said.sum() >= min(enough, 2 * BORDER_NATS))
    inside, outside = LEAST_EVIDENCE, 0.0
    most = outside + BORDER_NATS
    borders = []
    for number, nats in enumerate(said.tolist()):
        if most < inside:
            borders.append((number, True))
            inside = most
        elif inside + BORDER_NATS < outside:
            borders.append((number, False))
            outside = inside + BORDER_NATS
            most = outside + BORDER_NATS
        inside -= nats
    found, end, is_inside = np.zeros(said.size, np.bool_), said.size, inside < outside
    for start, goes_in in reversed(borders):
        if goes_in == is_inside:
            found[start:end] = is_inside
            end, is_inside = start, not is_inside
    found[:end] = is_inside
    return found


def _said_by_rows(surprise: Float64s) -> Float64s:
    """Return what the lost samples of all captures say, in nats, shape (samples,).

    A row of adjacent ones of a capture counts as one sample, since it may be one level.
    """
    said = np.zeros(surprise.shape[1])
    for own in surprise:
        at = np.flatnonzero(own)
        if at.size:
            _, sizes = rows_of(at)
            said[at] += own[at] / np.repeat(sizes, sizes)
    return said


def _by_rule(machine: Machine, lost: Bools, mean: Bools, held: Bools) -> Bools:
    """Return which lost samples of one capture stand as concealment leaves them.

    A mean has a good sample behind it. What is held goes on up to a mean, for a few samples; either may equal the
    tape's by chance, and is not among the lost ones then.
    """
    if machine.several != UP_TO_MEAN:
        beside = np.append(lost[1:], [False]) | np.append([False], lost[:-1])
        found = lost & ((mean & ~beside if machine.several == THROUGHOUT else mean) | held)
        return np.asarray(found, np.bool_)
    lost_next, marked_next = np.append(lost[1:], [False]), np.append((mean | held)[1:], [False])
    found = lost & ((mean & ~lost_next) | (held & marked_next))
    for start, end in ranges_of(lost & held, bridge=1):
        if not found[end - 1]:
            found[start:end] = False
    return np.asarray(found, np.bool_)
