"""Samples lost here and there on all tracks of a pass at once, seen without a witness.

A machine that conceals lost samples leaves more means, all rounded one way, and more levels held than sound has. What
sound has is read off its own counts: it bends by one step upwards as often as downwards, and stays where it is about as
often as it moves by one step. The excess, in nats, is summed over tracks, since all of them lie in the same sweeps.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import (
    FAINT_NATS,
    LEAST_REST,
    LEAST_SHOWING,
    MOST_NATS,
    MOST_SLOW,
    MOST_STILL,
    PIECE_SAMPLES,
    PIECES,
    SCALE_NATS,
    STREWN_LEAST_SHARE,
    STREWN_NATS,
    TRACK_NATS,
    USUAL_NATS,
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


def strewn_losses(tracks: Sequence[Int32s], step: int) -> list[Strewn]:
    """Return stretches in which several tracks show an excess of means or of levels held: for certain, or faintly.

    Args:
        tracks: of one pass, all of one length.
        step: one step of the tape's word length.
    """
    size = tracks[0].size // PIECE_SAMPLES * PIECE_SAMPLES
    if len(tracks) < LEAST_SHOWING or size < PIECES * PIECE_SAMPLES:
        return []
    excess = np.stack([_excess(own[:size], step) for own in tracks])
    shows, tells = excess >= TRACK_NATS, ~np.isnan(excess)
    enough = np.maximum(LEAST_SHOWING, STREWN_LEAST_SHARE * tells.sum(axis=0))
    summed = np.where(shows, excess, 0.0).sum(axis=0)
    marked = (summed >= STREWN_NATS) & (shows.sum(axis=0) >= enough)
    # One track alone may be made so: it says no more than the sound of a track by chance does.
    pooled = np.where(tells, np.clip(excess, 0.0, MOST_NATS), 0.0).sum(axis=0)
    # Some sound has more of them all along.
    usual = np.maximum(USUAL_NATS * tells.sum(axis=0), np.median(pooled))
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


def _excess(samples: Int32s, step: int) -> Float64s:
    """Return the excess of means and held levels of each window, in nats, shape (windows,); NaN in silence."""
    change = np.zeros(samples.size, np.int32)
    np.subtract(samples[1:], samples[:-1], out=change[1:])
    bend = np.zeros(samples.size, np.int32)
    np.subtract(change[2:], change[1:-1], out=bend[1:-1])
    size, is_still = np.abs(change), change == 0
    still = _counts(is_still)
    # Rests and mutes are no strewn losses, nor are clipped peaks, nor is what holds levels all along.
    is_still &= samples != samples.max()
    is_still &= samples != samples.min()
    for start, end in ranges_of(change == 0, least=LEAST_REST):
        is_still[start:end] = False
    held = _surplus(_counts(is_still), *(_counts(size == number * step) / 2 for number in (1, 2)))
    held = held if np.median(held) < TRACK_NATS else np.zeros_like(held)
    up, down, above = bend == step, bend == -step, samples > 0
    upwards, downwards = _counts(up), _counts(down)
    # Halves are rounded down or up; or towards zero, which is down above it and up below.
    one_way = _imbalance(upwards, downwards)
    up_above, down_above = _counts(up & above), _counts(down & above)
    inner, outer = up_above + downwards - down_above, down_above + upwards - up_above
    # A slow wave bends by a step towards nought all the time, the other way.
    inwards = np.where(inner > outer, _imbalance(inner, outer), 0.0)
    # A line is drawn from the good sample before it: rounded towards nought, its steps grow on the way, up or down.
    rising = change > 0
    up_rising, down_rising = _counts(up & rising), _counts(down & rising)
    along, against = up_rising + downwards - down_rising, down_rising + upwards - up_rising
    growing = np.where(along > against, _imbalance(along, against), 0.0)
    rounded = np.maximum(np.maximum(one_way, inwards), growing)
    silent = still > MOST_STILL * PIECES * PIECE_SAMPLES
    slow = np.minimum(_counts(size <= step), _counts(np.abs(bend) <= step))
    silent |= slow > MOST_SLOW * PIECES * PIECE_SAMPLES
    return np.where(silent, np.nan, held + rounded)


def _counts(marked: Bools) -> Int64s:
    """Return how many samples are marked in each window."""
    # Eight samples in a word: a piece has so few that no byte of their sum runs over.
    words = marked.view(np.uint64).reshape(-1, PIECE_SAMPLES // 8).sum(axis=1)
    pieces = words.view(np.uint8).reshape(-1, 8).sum(axis=1, dtype=np.int64)
    return np.asarray(np.convolve(pieces, np.ones(PIECES, np.int64), mode="valid"), np.int64)


def _imbalance(first: Int64s, second: Int64s) -> Float64s:
    """Return how unlikely it is that two counts are as different as they are, were both as likely, in nats."""
    both = first + second
    with np.errstate(divide="ignore", invalid="ignore"):
        nats = sum(np.where(one > 0, one * np.log(2.0 * one / both), 0.0) for one in (first, second))
    return np.asarray(nats, np.float64)


def _surplus(still: Int64s, one_off: Float64s, two_off: Float64s) -> Float64s:
    """Return how unlikely it is that so many samples stay where they are, given how many move by a step or two."""
    # Towards nought the distribution rises as it does from two steps to one, at the most.
    usual = np.maximum(one_off + 1, (one_off + 1) ** 2 / (two_off + 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        nats = np.where(still > usual, still * np.log(still / usual) - (still - usual), 0.0)
    return np.asarray(nats, np.float64)
