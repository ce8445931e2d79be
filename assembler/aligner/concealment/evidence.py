"""Whether lost samples speak for concealment over a patch of differences, in nats.

Audio is ``int64`` in sample values, shape ``(captures, samples)``; positions count from the window's first sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import LEAST_EVIDENCE, LEAST_SURPRISE
from assembler.aligner.concealment.marks import HELD, THROUGHOUT, UP_TO_MEAN, Machine, marks_of, rows_of
from assembler.aligner.records.limits import BRIDGE_SAMPLES, SEARCHED_NATS
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.limits import LEAST_RUN

if TYPE_CHECKING:
    from assembler.aligner.concealment.truth.window import Window
    from assembler.arrays import Bools, Float64s, Int64s


def kept_to(window: Window, lost: Bools) -> Bools:
    """Return which lost samples stand as the rule of their capture's machine leaves them."""
    marks = window.marks
    return np.stack(
        [_by_rule(*own) for own in zip(window.machines, lost, marks.mean, marks.held, strict=True)]
    )


def may_be_lost(samples: Int64s, step: int, machine: Machine) -> Bools:
    """Return which samples of one capture may be what concealment leaves, shape (samples,).

    A level that is held for longer than strewn losses last is the sound's, but for its end where a machine holds: what
    was lost within it is the level again.

    Args:
        samples: one capture.
        step: one step of the tape's word length, in sample values.
        machine: that it was played on.
    """
    marks = marks_of(samples, step, machine)
    found = marks.mean | marks.held
    holds = machine.single == HELD or machine.several == THROUGHOUT
    for start, end in ranges_of(np.diff(samples, prepend=samples[:1] - 1) == 0, least=LEAST_RUN + 1):
        # Else what is held goes on up to a mean.
        may_end = holds or bool(marks.mean[end : end + 1].any())
        found[start : end - LEAST_RUN if may_end else end] = False
    return found


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
    patches = ranges_of(differs, bridge=BRIDGE_SAMPLES)
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
        return np.full(said.size, said.sum() >= min(enough, 2 * SEARCHED_NATS))
    inside, outside = LEAST_EVIDENCE, 0.0
    most = outside + SEARCHED_NATS
    borders = []
    for number, nats in enumerate(said.tolist()):
        if most < inside:
            borders.append((number, True))
            inside = most
        elif inside + SEARCHED_NATS < outside:
            borders.append((number, False))
            outside = inside + SEARCHED_NATS
            most = outside + SEARCHED_NATS
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
