"""How unlikely it is that samples are by chance what concealment makes, and where that can't be enough at all.

Audio is ``int64`` in sample values, shape ``(captures, samples)``; positions count from the window's first sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import LEAST_EVIDENCE
from assembler.aligner.concealment.truth.bends import rate_nearby
from assembler.aligner.records.limits import BRIDGE_SAMPLES, SEARCHED_NATS
from assembler.aligner.records.ranges import covering, ranges_of
from assembler.aligner.sound.limits import LEAST_RUN

if TYPE_CHECKING:
    from assembler.aligner.concealment.truth.window import Window
    from assembler.arrays import Bools, Float64s, Int64s


def may_be_explained(window: Window) -> bool:
    """Return whether any truth can be so that concealment explains some of the differences.

    A bound that asks for no truth: a lost sample says at most what it would if each capture that looks so lost it, and
    where none looks so, one that is not as concealment leaves it was lost, whatever the truth is.
    """
    differs, marks = window.differing, window.marks
    if not differs.any():
        return False
    at = np.flatnonzero(differs)
    still = still_of(window.versions)
    levels = long_levels(still)[:, at]
    may_be = (marks.mean | marks.held)[:, at] & window.present[:, at] | levels & window.present[:, at]
    told = np.where(
        may_be & ~levels & ~told_before(window.versions[:, at]), by_chance(window, still)[:, at], 0.0
    )
    said = told.sum(axis=0) - np.where(may_be.any(axis=0), 0.0, window.bits * np.log(2.0))
    return any(map(_may_bear_out, np.split(said, np.flatnonzero(np.diff(at) > BRIDGE_SAMPLES + 1) + 1)))


def _may_bear_out(said: Float64s) -> bool:
    """Return whether a patch may be concealed: as a whole, or from or to a border inside."""
    sums = np.append(0.0, np.cumsum(said))
    part = float((sums - np.minimum.accumulate(sums)).max())
    # Sums are added up in another order here, and may be rounded otherwise.
    spare = LEAST_EVIDENCE / 2
    return float(sums[-1]) >= LEAST_EVIDENCE - spare or part >= SEARCHED_NATS - spare


def by_chance(window: Window, still: Bools) -> Float64s:
    """Return how unlikely each differing sample is by chance what concealment leaves, in nats; 0 for all others.

    By chance means that any of the captures holds such a sample there: the truth is sought where none does.

    Args:
        window: all captures.
        still: which samples are their predecessor again, shape (captures, samples).
    """
    looks_lost, differs = window.marks.mean | window.marks.held, window.differing
    at, usual = np.flatnonzero(differs), ~differs & window.present
    surprise = np.zeros(looks_lost.shape)
    # Where sound holds levels, one that is held again is nothing, and a mean between two of them is.
    for looks in (still, ~still):
        none = np.ones(at.size)
        # Nearly all captures hold the same: what is asked of several is found once.
        rates: dict[bytes, Float64s] = {}
        for own, seen in zip(looks_lost & looks & usual, usual, strict=True):
            which = own.tobytes() + seen.tobytes()
            if which not in rates:
                rates[which] = rate_nearby(own, seen)[at]
            none *= 1 - rates[which]
        surprise[:, at] += np.where((looks_lost & looks)[:, at], -np.log1p(-none), 0.0)
    return surprise


def still_of(versions: Int64s) -> Bools:
    """Return which samples of each capture are their predecessor again; the first one is not."""
    return np.asarray(np.diff(versions, axis=1, prepend=versions[:, :1] - 1) == 0, np.bool_)


def long_levels(still: Bools) -> Bools:
    """Return where a capture holds a level for longer than strewn losses last: a flaw of its own, for other rules."""
    return np.stack([covering(ranges_of(own, least=LEAST_RUN + 1), 0, own.size) for own in still])


def levels_of(lost: Bools, still: Bools, likely: Bools) -> Bools:
    """Return which lost samples hold a level for longer than strewn losses last.

    A level may be the sound's own for as long, and hold a few lost samples at its end, where losses are likely.

    Args:
        lost: shape (captures, samples).
        still: which samples are their predecessor again, same shape.
        likely: where losses are likely, same shape.
    """
    found = lost & long_levels(still)
    for own, here in zip(found, likely, strict=True):
        for start, end in ranges_of(own, bridge=LEAST_RUN):
            inside = own[start:end]
            if np.count_nonzero(inside) <= LEAST_RUN and here[start:end][inside].all():
                inside[:] = False
    return found


def told_before(versions: Int64s) -> Bools:
    """Return where a capture holds what one before it does: what both lost alike is told once."""
    return np.stack([(versions[:number] == own).any(axis=0) for number, own in enumerate(versions)])
