"""Patches in which most tracks show a little of lost samples all along: too little anywhere, enough in all.

What windows show above what chance lets them is summed along the sound, from where the sum was least: E. S. Page,
"Continuous inspection schemes", Biometrika 41 (1954). Sound by itself hardly ever gains a nat.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import (
    CHANCE_NATS,
    FALL_NATS,
    MOST_NATS,
    PIECES,
    PLAYED_LEAST_TRACKS,
    SCALE_NATS,
    SHOWING_SHARE,
    STREWN_NATS,
    USUAL_NATS,
)
from assembler.aligner.records.limits import CLEARLY, MOST_GAP_SAMPLES
from assembler.aligner.records.ranges import ranges_of, without
from assembler.aligner.sound.limits import WINDOW_SAMPLES

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Float64s


def patches_of(shown: Float64s, tells: Bools) -> list[tuple[int, int, float]]:
    """Return from which window to which all of them together prove lost samples, and by how many nats.

    Args:
        shown: what each window of each track shows, in nats, shape (tracks, windows).
        tells: whether it bends enough to tell.
    """
    gains = _gains(shown, tells)
    return [
        (*part, float(gains[slice(*part)].sum()))
        for patch in rises(gains, STREWN_NATS)
        if _is_shown(_bounded(shown[:, slice(*patch)]).mean(axis=1), tells[:, slice(*patch)])
        for part in _without_gaps(gains, patch)
    ]


def may_be_patches(most: Float64s, tells: Bools) -> bool:
    """Return whether there may be any where no window shows more than so much."""
    return any(
        _is_shown(most[:, slice(*patch)].max(axis=1), tells[:, slice(*patch)])
        for patch in rises(_gains(most, tells), STREWN_NATS)
    )


def _is_shown(each: Float64s, tells: Bools) -> bool:
    """Return whether enough tracks show a patch: what each of them shows, shape (tracks,), and where it can tell."""
    showing = np.count_nonzero(each >= CLEARLY * USUAL_NATS)
    least = min(PLAYED_LEAST_TRACKS, len(each))
    return bool(showing >= max(least, SHOWING_SHARE * tells.mean(axis=1).sum()))


def _gains(shown: Float64s, tells: Bools) -> Float64s:
    """Return what each window adds to the sum."""
    nats = _unlikely(_bounded(shown).sum(axis=0), USUAL_NATS * tells.sum(axis=0))
    return np.asarray(nats / PIECES - CHANCE_NATS, np.float64)


def _bounded(shown: Float64s) -> Float64s:
    """Return what windows show, no track saying much: one that has steps of its own would."""
    return np.clip(shown, 0.0, MOST_NATS)


def rises(gains: Float64s, least: float) -> list[Range]:
    """Return where a sum of gains rises by so much at least, from its least to its most before it falls."""
    found = []
    start = end = 0
    total = most = 0.0
    for at, nats in enumerate([*gains.tolist(), -np.inf]):
        total += nats
        if total > most:
            most, end = total, at + 1
        elif total <= max(0.0, most - FALL_NATS):
            if most >= least:
                found.append((start, end))
            start, total, most = at + 1, 0.0, 0.0
    return found


def _without_gaps(gains: Float64s, patch: Range) -> list[Range]:
    """Return a patch without the stretches in it that show nothing, and are no gap of one flaw."""
    silent = gains[slice(*patch)] < 0.0
    return without([patch], ranges_of(silent, offset=patch[0], least=MOST_GAP_SAMPLES // WINDOW_SAMPLES))


def _unlikely(pooled: Float64s, usual: Float64s) -> Float64s:
    """Return how unlikely so large a sum of exponential deviates is, in nats, at least: Chernoff's bound."""
    seen, usual = pooled / SCALE_NATS, usual / SCALE_NATS
    with np.errstate(divide="ignore", invalid="ignore"):
        nats = np.where(
            (usual > 0) & (seen > usual), seen - usual - usual * (np.log(seen) - np.log(usual)), 0.0
        )
    return np.asarray(nats, np.float64)
