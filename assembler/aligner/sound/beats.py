"""Places that stand on one grid to the sample, as a sequencer sets them. Pure: arrays in."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import HALF, LEAST_TELLING, NEAR_SAMPLES
from assembler.aligner.sound.limits import LEAST_BEAT, NEAR_PLACES

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s, Int64s


def on_grid(places: Int64s) -> Bools:
    """Return which places, in order, stand on one grid to the sample, where many do: whole beats from those near."""
    gaps = np.diff(places)
    gaps = gaps[gaps >= LEAST_BEAT]
    if gaps.size < LEAST_TELLING:
        return np.zeros(places.size, np.bool_)
    tried = sorted(gap for gap, _ in Counter(gaps.tolist()).most_common(NEAR_PLACES))
    share = max((_whole_beats(places, beat) for beat in tried), key=lambda share: float(share.mean()))
    keeping = share >= HALF
    return np.asarray(keeping & (np.mean(keeping) >= HALF), np.bool_)


def _whole_beats(places: Int64s, beat: int) -> Float64s:
    """Return for each place to how many of those near to it, as a share, it is so many whole beats."""
    whole, near = np.zeros(places.size), np.zeros(places.size)
    for away in range(1, NEAR_PLACES + 1):
        gaps = places[away:] - places[:-away]
        beats = np.rint(gaps / beat)
        fits = np.abs(gaps - beats * beat) <= np.maximum(beats, NEAR_SAMPLES)
        for side in (slice(away, None), slice(None, -away)):
            whole[side] += fits
            near[side] += 1
    return whole / near
