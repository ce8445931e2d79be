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
    LEAST_REST,
    LEAST_SHOWING,
    MOST_SLOW,
    MOST_STILL,
    PIECE_SAMPLES,
    PIECES,
    STREWN_LEAST_SHARE,
    STREWN_NATS,
    TRACK_NATS,
)
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.glance.glance import Glance

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
    """

    place: Range
    because: Because


def strewn_losses(tracks: Sequence[Int32s], step: int, glances: Sequence[Glance] = ()) -> list[Strewn]:
    """Return stretches in which several tracks show an excess of means or of levels held.

    Args:
        tracks: of one pass, all of one length.
        step: one step of the tape's word length.
        glances: at the tracks, where they have been looked at already.
    """
    size = tracks[0].size // PIECE_SAMPLES * PIECE_SAMPLES
    if len(tracks) < LEAST_SHOWING or size < PIECES * PIECE_SAMPLES:
        return []
    if not _may_show(glances or [Glance(own, step) for own in tracks]):
        return []
    excess = np.stack([_excess(own[:size], step) for own in tracks])
    shows, tells = excess >= TRACK_NATS, ~np.isnan(excess)
    enough = np.maximum(LEAST_SHOWING, STREWN_LEAST_SHARE * tells.sum(axis=0))
    summed = np.where(shows, excess, 0.0).sum(axis=0)
    marked = (summed >= STREWN_NATS) & (shows.sum(axis=0) >= enough)
    return [
        # Windows overlap: each piece stands in as many of them as a window has pieces, but at the ends.
        Strewn(
            (first * PIECE_SAMPLES, (last + PIECES - 1) * PIECE_SAMPLES),
            Because(
                Rule.STREWN, max(float(summed[first:last].sum()) / PIECES, float(summed[first:last].max()))
            ),
        )
        for first, last in ranges_of(marked)
    ]


def _may_show(glances: Sequence[Glance]) -> bool:
    """Return whether enough tracks may show an excess anywhere, as far as the even samples in each window allow.

    A window's imbalance is greatest where all that bend by a step bend one way, its surplus where none moves by a step.
    """
    showing: Int64s = np.zeros(1, np.int64)
    for left, glance in zip(range(len(glances), 0, -1), glances, strict=True):
        if showing.max() + left < LEAST_SHOWING:
            return False
        still, near = (
            np.convolve(counts, np.ones(PIECES, np.int64), mode="valid")
            for counts in glance.still_and_near(PIECE_SAMPLES)
        )
        most = near * np.log(2.0) + still * np.log(np.maximum(still, 1)) - still + 1
        showing = showing + (most + 1e-6 >= TRACK_NATS)
    return bool(showing.max() >= LEAST_SHOWING)


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
    up &= above
    down &= above
    up_above, down_above = _counts(up), _counts(down)
    inner, outer = up_above + downwards - down_above, down_above + upwards - up_above
    # A slow wave bends by a step towards nought all the time, the other way.
    inwards = np.where(inner > outer, _imbalance(inner, outer), 0.0)
    rounded = np.maximum(one_way, inwards)
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
