"""How much the samples that captures seem to have lost speak for concealment, in nats.

They stand as a machine leaves them, and sound hardly stands so by itself: where that is unlikely enough, over a patch
of differences, concealment explains these.

Audio is ``int64`` in sample values, shape ``(captures, samples)``; positions count from the window's first sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import (
    BORDER_NATS,
    LEAST_EVIDENCE,
    LEAST_SURPRISE,
    LONGEST_HOLD,
    PATCH_BRIDGE,
)
from assembler.aligner.concealment.marks import THROUGHOUT, UP_TO_MEAN, Machine, rows_of
from assembler.aligner.concealment.truth.bends import rate_nearby
from assembler.aligner.records.ranges import ranges_of

if TYPE_CHECKING:
    from assembler.aligner.concealment.truth.window import Window
    from assembler.arrays import Bools, Float64s


def surprise_of(window: Window, lost: Bools, still: Bools) -> Float64s:
    """Return how unlikely each lost sample is by chance what concealment leaves, in nats; 0 for one that is not.

    By chance means that any of the captures holds such a sample there: the truth is sought where none does.
    """
    mean, held, differs = window.marks.mean, window.marks.held, window.differing
    kept_to = np.stack([_by_rule(*rows) for rows in zip(window.machines, lost, mean, held, strict=True)])
    surprise = np.zeros(lost.shape)
    # Where sound holds levels, one that is held again is nothing, and a mean between two of them is.
    for looks in (still, ~still):
        none = np.ones(differs.size)
        for own, usual in zip((mean | held) & looks, ~differs & window.present, strict=True):
            none *= 1 - rate_nearby(own & usual, usual)
        surprise += np.where((mean | held) & looks, -np.log1p(-none), 0.0)
    return surprise * kept_to


def borne_out(differs: Bools, odd: Float64s, surprise: Float64s) -> Bools:
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


def long_levels(lost: Bools, still: Bools, likely: Bools) -> Bools:
    """Return where a capture holds a level for longer than strewn losses last: a flaw of its own, for other rules.

    A level may be the sound's own for as long, and hold a few lost samples at its end, where losses are likely.
    """
    found = np.zeros(still.shape, np.bool_)
    for own, level, gone, here in zip(found, still, lost, likely, strict=True):
        for start, end in ranges_of(level, least=LONGEST_HOLD + 1):
            inside = gone[start:end]
            if np.count_nonzero(inside) > LONGEST_HOLD or not here[start:end][inside].all():
                own[start:end] = inside
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
