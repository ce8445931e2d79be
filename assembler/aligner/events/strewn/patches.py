"""Patches in which most tracks show a little of lost samples all along: too little anywhere, enough in all.

What windows show above what chance lets them is summed along the sound, from where the sum was least: E. S. Page,
"Continuous inspection schemes", Biometrika 41 (1954). Sound from a converter hardly ever gains a nat. What has coarser
steps than the tape for a while, or is interpolated, gains many: so nearly all tracks that can tell have to show it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import (
    CHANCE_NATS,
    FALL_NATS,
    MOST_NATS,
    SCALE_NATS,
    SHOWING_SHARE,
    USUAL_NATS,
)
from assembler.aligner.events.strewn.bends import PIECES
from assembler.aligner.records.limits import CLEARLY, LEAST_WITNESSES, SEARCHED_NATS
from assembler.aligner.records.ranges import ranges_of, total, without

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Float64s


def patches_of(shown: Float64s, tells: Bools) -> list[tuple[int, int, float]]:
    """Return from which piece to which all of them together prove lost samples, and by how many nats.

    Args:
        shown: what each window of each track shows, in nats, shape (tracks, windows).
        tells: whether it bends enough to tell.
    """
    gains = _gains(shown)
    found = []
    for first, last in rises(gains, SEARCHED_NATS):
        own = gains[first:last]
        if _is_shown(_bounded(shown[:, first:last]).mean(axis=1), tells[:, first:last]):
            # What a window holds that shows nothing may be right: it is no more of it than a gap in any flaw.
            silent = [(low, high + PIECES - 1) for low, high in ranges_of(own <= 0.0, offset=first)]
            parts = without([(first, last + PIECES - 1)], silent)
            share = float(own.sum()) / max(1, total(parts))
            found += [(low, high, share * (high - low)) for low, high in parts]
    return found


def may_be_patches(most: Float64s, tells: Bools) -> bool:
    """Return whether there may be any where no window shows more than so much."""
    return any(
        _is_shown(most[:, slice(*patch)].max(axis=1), tells[:, slice(*patch)])
        for patch in rises(_gains(most), SEARCHED_NATS)
    )


def _is_shown(each: Float64s, tells: Bools) -> bool:
    """Return whether enough tracks show a patch: what each of them shows, shape (tracks,), and where it can tell."""
    showing = np.count_nonzero(each >= CLEARLY * USUAL_NATS)
    least = min(LEAST_WITNESSES, len(each))
    return bool(showing >= max(least, SHOWING_SHARE * tells.mean(axis=1).sum()))


def _gains(shown: Float64s) -> Float64s:
    """Return what each window adds to the sum."""
    nats = _unlikely(_bounded(shown).sum(axis=0), USUAL_NATS * len(shown))
    return np.asarray(nats / PIECES - CHANCE_NATS, np.float64)


def _bounded(shown: Float64s) -> Float64s:
    """Return what windows show, no track saying much: one that has steps of its own would."""
    return np.clip(shown, 0.0, MOST_NATS)


def rises(gains: Float64s, least: float) -> list[Range]:
    """Return where a sum of gains rises by so much at least, from its least to its most before it falls."""
    found = []
    start = end = 0
    risen = most = 0.0
    for at, nats in enumerate([*gains.tolist(), -np.inf]):
        risen += nats
        if risen > most:
            most, end = risen, at + 1
        elif risen <= max(0.0, most - FALL_NATS):
            if most >= least:
                found.append((start, end))
            start, risen, most = at + 1, 0.0, 0.0
    return found


def _unlikely(pooled: Float64s, usual: float) -> Float64s:
    """Return how unlikely so large a sum of exponential deviates is, in nats, at least: Chernoff's bound."""
    seen, usual = np.maximum(pooled, usual) / SCALE_NATS, usual / SCALE_NATS
    return np.asarray(seen - usual - usual * (np.log(seen) - np.log(usual)), np.float64)
