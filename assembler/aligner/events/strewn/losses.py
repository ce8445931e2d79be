"""Samples lost here and there on all tracks of a pass at once, seen without a witness.

A machine that conceals lost samples leaves means of two neighbours, and levels held. Sound passes through a bend, or a
change, of nothing now and then, too: the seldomer, the more it bends, or changes, on both sides of there. What is more
often than that foretells is an excess. Where sound bends too little to tell, means still have their halves rounded one
way, and sound bends by a step upwards as often as downwards. Both are in nats, and are summed over tracks, since all of
them lie in the same sweeps.

Positions count from the first sample that was looked at.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import (
    MOST_SLOW,
    REACH,
)
from assembler.aligner.events.strewn.bends import Small, counts_amid, small_bends, small_levels
from assembler.aligner.events.strewn.patches import may_be_patches, patches_of
from assembler.aligner.events.strewn.runs import short_runs
from assembler.aligner.records.limits import LEAST_PROOFS, WINDOW_SAMPLES
from assembler.aligner.sound.limits import NOISE_SAMPLES
from assembler.arrays import median

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.glance import Glance
    from assembler.arrays import Bools, Float64s


class Windows:
    """What the windows of a track show, found when it is first asked for: passes share most of their tracks.

    Args:
        glance: at the track.
        step: one step of the tape's word length.
    """

    def __init__(self, glance: Glance, step: int) -> None:
        self.size = glance.samples.size
        self._glance, self._step = glance, step

    @cached_property
    def most(self) -> tuple[Float64s, Bools]:
        """What windows may show at most, were all small bends and levels means and holds; which bend enough to tell."""
        size = self.size // WINDOW_SAMPLES * WINDOW_SAMPLES
        near, bends = counts_amid(self._glance.near, size)
        _, levels = counts_amid(self._glance.still, size)
        one_way = np.where(near > MOST_SLOW * NOISE_SAMPLES + 2 * REACH, 0.0, near * np.log(2.0))
        own = np.maximum(_surplus(bends, 0.0) + _surplus(levels, 0.0), one_way)
        return own + self._short, near <= MOST_SLOW * NOISE_SAMPLES

    @cached_property
    def _short(self) -> Float64s:
        """How unlikely so many short levels are, in nats, where a track has few of them all along."""
        short = short_runs(self._glance, self._step)
        return _surplus(short, median(short))

    @cached_property
    def shown(self) -> tuple[Float64s, Bools]:
        """The excess of means and levels, or how much halves go one way, in nats; which windows bend enough to tell."""
        levels, bends = small_levels(self._glance, self._step), small_bends(self._glance, self._step)
        tells = bends.by_sign.sum(axis=(0, 1, 2)) <= MOST_SLOW * NOISE_SAMPLES
        excess = _excess(levels, bends) + self._short
        return np.maximum(excess, np.where(tells, _one_way(bends), 0.0)), tells


def strewn_losses(tracks: Sequence[Windows]) -> list[tuple[Range, float]]:
    """Return stretches in which most tracks show an excess of means or of levels held, and by how many nats.

    Args:
        tracks: of one pass, all of one length.
    """
    if len(tracks) < LEAST_PROOFS or tracks[0].size < NOISE_SAMPLES:
        return []
    # Most sound bends by a step so seldom that nothing more has to be asked of it.
    if not may_be_patches(*_stacked(one.most for one in tracks)):
        return []
    return [
        ((first * WINDOW_SAMPLES, last * WINDOW_SAMPLES), nats)
        for first, last, nats in patches_of(*_stacked(one.shown for one in tracks))
    ]


def _stacked(rows: Iterable[tuple[Float64s, Bools]]) -> tuple[Float64s, Bools]:
    nats, tells = (np.stack(own) for own in zip(*rows, strict=True))
    return nats, tells


def _excess(levels: Small, bends: Small) -> Float64s:
    means = bends.moving.sum(axis=(0, 1, 2))
    excess = _surplus(means, 3 * bends.foretold)
    # Half of all means fall between two steps: where none is rounded, the sound has steps of its own.
    excess[bends.moving[:, :, ::2].sum(axis=(0, 1, 2)) == 0] = 0.0
    held = levels.moving.sum(axis=(0, 1, 2))
    # Sound with steps of its own stays on one of them all along.
    natural = max(1.0, median(held / np.maximum(levels.foretold, 1.0)))
    return excess + _surplus(held, natural * levels.foretold)


def _one_way(bends: Small) -> Float64s:
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


def _imbalance(first: Float64s, second: Float64s) -> Float64s:
    """Return how unlikely it is that two counts are as different as they are, were both as likely, in nats."""
    both = first + second
    with np.errstate(divide="ignore", invalid="ignore"):
        nats = sum(np.where(one > 0, one * np.log(2.0 * one / both), 0.0) for one in (first, second))
    return np.asarray(nats, np.float64)


def _surplus(seen: Float64s, foretold: Float64s | float) -> Float64s:
    """Return how unlikely it is to see so many where so many are foretold, in nats."""
    usual = foretold + 1
    with np.errstate(divide="ignore", invalid="ignore"):
        nats = np.where(seen > usual, seen * np.log(seen / usual) - (seen - usual), 0.0)
    return np.asarray(nats, np.float64)
