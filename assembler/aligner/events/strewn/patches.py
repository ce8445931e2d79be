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
    PIECES,
    SCALE_NATS,
    STREWN_NATS,
    TRACK_NATS,
    TURNED_SHARE,
    USUAL_NATS,
)
from assembler.aligner.records.limits import CLEARLY

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s


def patches_of(shown: Float64s, tells: Bools) -> list[tuple[int, int, float]]:
    """Return from which window to which all of them together prove lost samples, and by how many nats.

    Args:
        shown: what each window of each track shows, in nats, shape (tracks, windows).
        tells: whether it bends enough to tell.
    """
    # No track says much: one that has steps of its own would.
    each = np.clip(shown, 0.0, TRACK_NATS)
    found = []
    for first, last, nats in rises(each.sum(axis=0), tells.sum(axis=0)):
        showing = each[:, first:last].mean(axis=1) >= CLEARLY * USUAL_NATS
        telling = tells[:, first:last].mean(axis=1)
        if showing.sum() >= TURNED_SHARE * telling.sum():
            found.append((first, last, nats))
    return found


def rises(pooled: Float64s, telling: Float64s) -> list[tuple[int, int, float]]:
    """Return where the sum rises as far as a proof, from its least to its most, and by how much.

    Args:
        pooled: what all tracks show together in each window, no track saying much.
        telling: how many of them bend enough to tell.
    """
    gains = _unlikely(pooled, USUAL_NATS * telling) / PIECES - CHANCE_NATS
    found = []
    start = end = 0
    total = most = 0.0
    for at, nats in enumerate([*gains.tolist(), -np.inf]):
        total += nats
        if total > most:
            most, end = total, at + 1
        elif total <= max(0.0, most - FALL_NATS):
            if most >= STREWN_NATS:
                found.append((start, end, most))
            start, total, most = at + 1, 0.0, 0.0
    return found


def _unlikely(pooled: Float64s, usual: Float64s) -> Float64s:
    """Return how unlikely so large a sum of exponential deviates is, in nats, at least: Chernoff's bound."""
    seen, usual = pooled / SCALE_NATS, usual / SCALE_NATS
    with np.errstate(divide="ignore", invalid="ignore"):
        nats = np.where(
            (usual > 0) & (seen > usual), seen - usual - usual * (np.log(seen) - np.log(usual)), 0.0
        )
    return np.asarray(nats, np.float64)
