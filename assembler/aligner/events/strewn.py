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
    FORETOLD_THINNED,
    LEAST_MOVING,
    LEAST_ODD,
    LEAST_SHOWING,
    MOST_NATS,
    MOST_SLOW,
    PIECE_SAMPLES,
    PIECES,
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

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Float64s, Int32s, Int64s


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
    """What a track's windows hold of changes, or bends, of a step at most, shape (windows,).

    Args:
        seen: how many there are.
        by_sign: by whether sound falls or rises there, whether it is up to zero or above it, and whether they are of a
            step downwards, of nothing or of a step upwards; shape (2, 2, 3, windows).
        moving: of ``by_sign``, those with greater ones on both sides, and no clipped peak.
        foretold: how many of any one size are to be expected among great ones.
    """

    seen: Float64s
    by_sign: Float64s
    moving: Float64s
    foretold: Float64s


def strewn_losses(tracks: Sequence[Int32s], step: int) -> list[Strewn]:
    """Return stretches in which several tracks show an excess of means or of levels held: for certain, or faintly.

    Args:
        tracks: of one pass, all of one length.
        step: one step of the tape's word length.
    """
    size = tracks[0].size // PIECE_SAMPLES * PIECE_SAMPLES
    if len(tracks) < LEAST_SHOWING or size < PIECES * PIECE_SAMPLES:
        return []
    excess, one_way = np.stack([_shown(own[:size], step) for own in tracks], axis=1)
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


def _shown(samples: Int32s, step: int) -> tuple[Float64s, Float64s]:
    """Return the excess of means and held levels of each window, and how much their halves go one way, in nats.

    The latter is NaN where a track is too slow to tell.
    """
    change = np.zeros(samples.size, np.int32)
    np.subtract(samples[1:], samples[:-1], out=change[1:])
    bend = np.zeros(samples.size, np.int32)
    np.subtract(change[2:], change[1:-1], out=bend[1:-1])
    changes, bends = (_small(samples, change, values, step) for values in (change, bend))
    slow = np.minimum(changes.seen, bends.seen) > MOST_SLOW * WINDOW_SAMPLES
    return _excess(changes, bends), np.where(slow, np.nan, _one_way(bends))


def _excess(changes: _Small, bends: _Small) -> Float64s:
    means = bends.moving.sum(axis=(0, 1, 2))
    excess = _surplus(means, 3 * bends.foretold)
    # Half of all means fall between two steps: where none is rounded, the sound has steps of its own.
    excess[bends.moving[:, :, ::2].sum(axis=(0, 1, 2)) * LEAST_ODD < means] = 0.0
    held = changes.moving[:, :, 1].sum(axis=(0, 1))
    # Sound with steps of its own stays on one of them all along.
    natural = max(1.0, float(np.median(held / np.maximum(changes.foretold, 1.0))))
    return excess + _surplus(held, natural * changes.foretold)


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


def _small(samples: Int32s, change: Int32s, values: Int32s, step: int) -> _Small:
    """Return what the windows of a track hold of small values: of its changes, or of its bends."""
    size = np.abs(values)
    at = np.flatnonzero(size <= step)
    own = samples[at]
    sign = np.sign(values[at]) + 1 + 3 * (own > 0) + 6 * (change[at] > 0)
    pieces = at // PIECE_SAMPLES
    inner = (at >= 3) & (at < size.size - 3)
    moving = np.zeros(at.size, np.bool_)
    moving[inner] = _around(size, at[inner]) >= LEAST_MOVING * step
    # Clipped peaks are no levels held.
    moving &= (own != samples.max()) & (own != samples.min())
    count = samples.size // PIECE_SAMPLES
    by_sign = _by_sign(pieces, sign, count)
    return _Small(
        by_sign.sum(axis=(0, 1, 2)),
        by_sign,
        _by_sign(pieces[moving], sign[moving], count),
        _foretold(size, step),
    )


def _by_sign(pieces: Int64s, sign: Int32s, count: int) -> Float64s:
    counts = np.bincount(pieces * 12 + sign, minlength=12 * count).reshape(count, 2, 2, 3)
    return np.moveaxis(_in_windows(counts.astype(np.float64)), 0, -1)


def _foretold(size: Int32s, step: int) -> Float64s:
    """Return how many samples of each window have any one small size by chance, of those amid great ones."""
    # Of every fourth sample: it is a mean that is asked for.
    beside = (size[4 + off : size.size - 4 + off : FORETOLD_THINNED] for off in (-3, -2, 2, 3))
    around = _between(*beside)
    chance = np.zeros(size.size // FORETOLD_THINNED, np.float32)
    np.reciprocal(np.maximum(around, 1), dtype=np.float32, out=chance[1:-1])
    chance[1:-1] *= around >= LEAST_MOVING * step
    pieces = chance.reshape(-1, PIECE_SAMPLES // FORETOLD_THINNED).sum(axis=1, dtype=np.float64)
    return _in_windows(0.5 * step * FORETOLD_THINNED * pieces)


def _around(size: Int32s, at: Int64s) -> Int32s:
    """Return how large values are on both sides; beside a lost sample those of its neighbours are spoilt, too."""
    return _between(size[at - 3], size[at - 2], size[at + 2], size[at + 3])


def _between(first: Int32s, second: Int32s, third: Int32s, fourth: Int32s) -> Int32s:
    return np.minimum(np.maximum(first, second), np.maximum(third, fourth))


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
