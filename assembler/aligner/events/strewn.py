"""Samples lost here and there on all tracks of a pass at once, seen without a witness.

A machine that conceals lost samples leaves means of two neighbours, and levels held. Sound passes through a bend, or a
change, of nothing now and then, too: the seldomer, the more it bends, or changes, on both sides of there. What is more
often than that foretells is an excess. Where sound bends too little to tell, means still have their halves rounded one
way, and sound bends by a step upwards as often as downwards. Both are in nats, and are summed over tracks, since all of
them lie in the same sweeps.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import (
    FAINT_NATS,
    LEAST_MOVING,
    LEAST_ODD,
    LEAST_SHOWING,
    MOST_NATS,
    MOST_SLOW,
    PIECE_SAMPLES,
    PIECES,
    REACH,
    SCALE_NATS,
    STREWN_NATS,
    TRACK_NATS,
    TURNED_NATS,
    TURNED_SHARE,
    USUAL_NATS,
    WINDOW_SAMPLES,
)
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.glance.glance import Glance

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Float64s, Int32s, Int64s

    Offset = Callable[[int], Int32s]


@dataclass(frozen=True)
class Strewn:
    """A stretch in which samples were lost.

    Args:
        place: from where to where.
        because: the rule, with the excess of all tracks that show it, summed over its pieces.
        is_proof: whether it needs no witness; else the excess counts above what sound has at any moment.
    """

    place: Range
    because: Because
    is_proof: bool = True


@dataclass(frozen=True)
class _Small:
    """What a track's windows hold of levels held, or of bends of a step at most.

    Args:
        by_sign: by whether sound falls or rises there, whether it is up to zero or above it, and whether they are of a
            step downwards, of nothing or of a step upwards; shape (2, 2, 3, windows).
        moving: of ``by_sign``, those with greater ones on both sides, and no clipped peak.
        foretold: how many of any one size are to be expected among great ones; shape (windows,).
    """

    by_sign: Float64s
    moving: Float64s
    foretold: Float64s


def strewn_losses(tracks: Sequence[Int32s], step: int, glances: Sequence[Glance] = ()) -> list[Strewn]:
    """Return stretches in which several tracks show an excess of means or of levels held: for certain, or faintly.

    Args:
        tracks: of one pass, all of one length.
        step: one step of the tape's word length.
        glances: at the tracks, where they have been looked at already.
    """
    size = tracks[0].size // PIECE_SAMPLES * PIECE_SAMPLES
    if len(tracks) < LEAST_SHOWING or size < PIECES * PIECE_SAMPLES:
        return []
    excess, one_way = np.stack(
        [_shown(one, step) for one in glances or [Glance(own, step) for own in tracks]], axis=1
    )
    turned = one_way >= TURNED_NATS
    most = TURNED_SHARE * (~np.isnan(one_way)).sum(axis=0)
    many = turned.sum(axis=0) >= np.maximum(LEAST_SHOWING, most)
    summed = excess.sum(axis=0) * ((excess >= TRACK_NATS).sum(axis=0) >= LEAST_SHOWING)
    summed = np.maximum(summed, np.where(turned, one_way, 0.0).sum(axis=0) * many)
    marked = summed >= STREWN_NATS
    # One track alone may be made so: it says no more than the sound of a track by chance does.
    shown = np.maximum(excess, np.nan_to_num(one_way))
    pooled = np.clip(shown, 0.0, MOST_NATS).sum(axis=0)
    # Some sound has more of them all along.
    usual = np.maximum(USUAL_NATS * (~np.isnan(one_way)).sum(axis=0), np.median(pooled))
    unusual = _unlikely(pooled / SCALE_NATS, usual / SCALE_NATS)
    is_faint = (unusual >= FAINT_NATS) & ~marked
    found = [*_places(marked, summed, is_proof=True), *_places(is_faint, unusual, is_proof=False)]
    return sorted(found, key=lambda one: one.place)


def _unlikely(seen: Float64s, usual: Float64s) -> Float64s:
    """Return how unlikely so large a sum of exponential deviates is, in nats, at least: Chernoff's bound."""
    with np.errstate(divide="ignore", invalid="ignore"):
        nats = np.where((usual > 0) & (seen > usual), seen - usual - usual * np.log(seen / usual), 0.0)
    return np.asarray(nats, np.float64)


def _places(marked: Bools, nats: Float64s, *, is_proof: bool) -> list[Strewn]:
    """Return windows that follow one another as one place, with the sum of what they show."""
    return [
        # Windows overlap: each piece stands in as many of them as a window has pieces, but at the ends.
        Strewn(
            (first * PIECE_SAMPLES, (last + PIECES - 1) * PIECE_SAMPLES),
            Because(Rule.STREWN, max(float(nats[first:last].sum()) / PIECES, float(nats[first:last].max()))),
            is_proof,
        )
        for first, last in ranges_of(marked)
    ]


def _shown(glance: Glance, step: int) -> tuple[Float64s, Float64s]:
    """Return the excess of means and held levels of each window, and how much their halves go one way, in nats.

    The latter is NaN where a track bends too little to tell.
    """
    levels, bends = _small(glance, glance.still, _change, step), _small(glance, glance.near, _bend, step)
    slow = bends.by_sign.sum(axis=(0, 1, 2)) > MOST_SLOW * WINDOW_SAMPLES
    return _excess(levels, bends), np.where(slow, np.nan, _one_way(bends))


def _excess(levels: _Small, bends: _Small) -> Float64s:
    means = bends.moving.sum(axis=(0, 1, 2))
    excess = _surplus(means, 3 * bends.foretold)
    # Half of all means fall between two steps: where none is rounded, the sound has steps of its own.
    excess[bends.moving[:, :, ::2].sum(axis=(0, 1, 2)) * LEAST_ODD < means] = 0.0
    held = levels.moving.sum(axis=(0, 1, 2))
    # Sound with steps of its own stays on one of them all along.
    natural = max(1.0, float(np.median(held / np.maximum(levels.foretold, 1.0))))
    return excess + _surplus(held, natural * levels.foretold)


def _one_way(bends: _Small) -> Float64s:
    down, up = bends.by_sign[:, :, 0], bends.by_sign[:, :, 2]
    # Halves are rounded down or up; or towards zero, which is down above it and up below.
    ways = _imbalance(up.sum(axis=(0, 1)), down.sum(axis=(0, 1)))
    inner, outer = (up[:, 1] + down[:, 0]).sum(axis=0), (down[:, 1] + up[:, 0]).sum(axis=0)
    # A slow wave bends by a step towards nought all the time, the other way.
    inwards = np.where(inner > outer, _imbalance(inner, outer), 0.0)
    # A line is drawn from the good sample before it: rounded towards nought, its steps grow on the way, up or down.
    along, against = (up[1] + down[0]).sum(axis=0), (down[1] + up[0]).sum(axis=0)
    growing = np.where(along > against, _imbalance(along, against), 0.0)
    return np.maximum(np.maximum(ways, inwards), growing)


def _small(glance: Glance, marked: Bools, value: Callable[[Offset], Int32s], step: int) -> _Small:
    """Return what the windows of a track hold of what is marked: of its levels held, or of its small bends."""
    count = glance.samples.size // PIECE_SAMPLES
    samples = glance.samples[: count * PIECE_SAMPLES]
    at = np.flatnonzero(marked[REACH : samples.size - REACH]) + REACH

    def beside(offset: int) -> Int32s:
        return samples[at + offset]

    def thinned(offset: int) -> Int32s:
        # It is a mean that is asked for: every fourth sample tells.
        return samples[REACH + offset : samples.size - REACH + offset : REACH]

    own = beside(0)
    # Clipped peaks are no levels held.
    moving = (_around(value, beside) >= LEAST_MOVING * step) & (own != samples.max()) & (own != samples.min())
    sign = np.sign(value(beside)) + 1 + 3 * (own > 0) + 6 * (_change(beside) > 0)
    pieces = at // PIECE_SAMPLES
    return _Small(
        _by_sign(pieces, sign, count),
        _by_sign(pieces[moving], sign[moving], count),
        _foretold(_around(value, thinned), step, count),
    )


def _change(own: Offset) -> Int32s:
    return own(0) - own(-1)


def _bend(own: Offset) -> Int32s:
    return own(1) - 2 * own(0) + own(-1)


def _around(value: Callable[[Offset], Int32s], own: Offset) -> Int32s:
    """Return how large values are on both sides; beside a lost sample those of its neighbours are spoilt, too."""

    def size(away: int) -> Int32s:
        return np.abs(value(lambda offset: own(away + offset)))

    return np.minimum(np.maximum(size(-3), size(-2)), np.maximum(size(2), size(3)))


def _by_sign(pieces: Int64s, sign: Int32s, count: int) -> Float64s:
    counts = np.bincount(pieces * 12 + sign, minlength=12 * count).reshape(count, 2, 2, 3)
    return np.moveaxis(_in_windows(counts.astype(np.float64)), 0, -1)


def _foretold(around: Int32s, step: int, count: int) -> Float64s:
    """Return how many samples of each window have any one small size by chance, of those amid great ones."""
    chance = np.zeros(count * PIECE_SAMPLES // REACH, np.float32)
    np.reciprocal(np.maximum(around, 1), dtype=np.float32, out=chance[1:-1])
    chance[1:-1] *= around >= LEAST_MOVING * step
    pieces = chance.reshape(count, -1).sum(axis=1, dtype=np.float64)
    return _in_windows(0.5 * step * REACH * pieces)


def _in_windows(pieces: Float64s) -> Float64s:
    ends = len(pieces) - PIECES + 1
    return np.asarray(sum(pieces[first : first + ends] for first in range(PIECES)), np.float64)


def _imbalance(first: Float64s, second: Float64s) -> Float64s:
    """Return how unlikely it is that two counts are as different as they are, were both as likely, in nats."""
    both = first + second
    with np.errstate(divide="ignore", invalid="ignore"):
        nats = sum(np.where(one > 0, one * np.log(2.0 * one / both), 0.0) for one in (first, second))
    return np.asarray(nats, np.float64)


def _surplus(seen: Float64s, foretold: Float64s) -> Float64s:
    """Return how unlikely it is to see so many where so many are foretold, in nats."""
    usual = foretold + 1
    with np.errstate(divide="ignore", invalid="ignore"):
        nats = np.where(seen > usual, seen * np.log(seen / usual) - (seen - usual), 0.0)
    return np.asarray(nats, np.float64)
