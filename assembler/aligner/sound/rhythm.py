"""Whether music keeps time: sound sets in again and again after the same interval.

What looks flawed on the beats of music may be how it is played, so that its interval points at no part that turns.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import READ_SAMPLES
from assembler.aligner.records.ranges import pieces_of
from assembler.aligner.sound.limits import (
    BEFORE_STEPS,
    BESIDE_SECONDS,
    LEAST_ALIKE,
    LEAST_RISE,
    LEVEL_SAMPLES,
    LONGEST_READ_SECONDS,
    MULTIPLES,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s


def keeps_time(
    one: PlacedPass, tracks: Iterable[int], places: Sequence[Range], interval: float, sample_rate: int
) -> bool:
    """Return whether the sound of some tracks sets in again after an interval, but for what lies at some places.

    Args:
        one: the pass.
        tracks: from 0 in tape order.
        places: flawed, in order; the sound from a little before the first to behind the last is listened to, two
            minutes of it at most.
        interval: in samples.
        sample_rate: in samples per second.
    """
    step = LEVEL_SAMPLES
    margin = round(BESIDE_SECONDS * sample_rate)
    start = places[0][0] - margin
    end = min(places[-1][1] + margin, start + round(LONGEST_READ_SECONDS * sample_rate))
    onsets = np.zeros((end - start) // step)
    for track in tracks:
        onsets += _onsets(_levels(one, track, (start, start + onsets.size * step), step))
    for low, high in places:
        # A flaw is no beat, nor is what sets in behind it.
        onsets[max(0, (low - start) // step - 1) : max(0, (high - start) // step + 2)] = 0.0
    return any(_alike(onsets, multiple * interval / step) >= LEAST_ALIKE for multiple in MULTIPLES)


def _levels(one: PlacedPass, track: int, where: Range, step: int) -> Float64s:
    """Return the level of each step of a place, in steps of the sample format."""
    levels = [
        np.sqrt(np.mean(one.samples(track, low, high).astype(np.float64).reshape(-1, step) ** 2, axis=1))
        for low, high in pieces_of([where], READ_SAMPLES // step * step)
    ]
    return np.concatenate(levels) if levels else np.zeros(0)


def _onsets(levels: Float64s) -> Float64s:
    """Return how far sound rises over all that was shortly before each step, as a share of its highest level."""
    loudest = np.zeros(levels.size)
    for back in range(1, BEFORE_STEPS + 1):
        loudest[back:] = np.maximum(loudest[back:], levels[:-back])
    loudest[:BEFORE_STEPS] = np.inf
    return np.asarray(
        np.maximum(0.0, levels - LEAST_RISE * loudest) / max(1.0, float(levels.max(initial=0.0))), np.float64
    )


def _alike(onsets: Float64s, lag: float) -> float:
    """Return how alike onsets are to those that come so many steps later, one step more or less."""
    varying = onsets - onsets.mean()
    power = float(varying @ varying)
    lags = {int(np.floor(lag)), int(np.ceil(lag))}
    if power == 0.0 or max(lags) >= onsets.size // 2:
        return 0.0
    # What is counted is less by what the shift leaves out.
    return max(
        float(varying[shift:] @ varying[:-shift]) / power * onsets.size / (onsets.size - shift)
        for shift in lags
    )
