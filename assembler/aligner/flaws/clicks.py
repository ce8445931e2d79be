"""Clicks, as a single capture shows them by itself: far rougher than all around, the sound going on behind as it was.

Audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import (
    LEAST_LEVEL_STEPS,
    LONE_ROUGH_RATIO,
    MOST_CLICK,
    ROUGH_REACH,
    ROUGH_SAMPLES,
)
from assembler.aligner.records.limits import NEAR_SAMPLES
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.levels import constant_runs, fit_predictor, prediction_errors
from assembler.aligner.sound.limits import FIT_SAMPLES, LEAST_RUN, PREDICTOR_ORDER

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s, Int32s

_ROUNDING = float(np.sqrt(np.finfo(np.float32).eps))
"""More than sums in single precision lose of what they are."""


def clicks(samples: Int32s, step: int) -> list[Range]:
    """Return clicks: far rougher than all around, the sound going on behind as it was."""
    slopes = samples[1:] - samples[:-1]
    bend = slopes[1:] - slopes[:-1]
    whole = bend.size // ROUGH_SAMPLES
    if whole < 2 * ROUGH_REACH:
        return []
    windows = bend[: whole * ROUGH_SAMPLES].reshape(-1, ROUGH_SAMPLES)
    # Single precision is enough to rule out, with room to spare, what nearly all sound has none of.
    single = windows.astype(np.float32)
    quick = np.sqrt(np.einsum("ij,ij->i", single, single) / ROUGH_SAMPLES)
    if not (quick > (1 - _ROUNDING) * _rough_limits(quick, step)).any():
        return []
    rough = np.sqrt(np.mean(windows.astype(np.float64) ** 2, axis=1))
    places = []
    for first, last in ranges_of(rough > _rough_limits(rough, step), bridge=1):
        place = _click(samples, ((first - 1) * ROUGH_SAMPLES, (last + 1) * ROUGH_SAMPLES), step)
        if place is not None and not _is_edge_of_zeros(samples, place):
            places.append(place)
    return places


def _rough_limits(rough: NDArray[np.floating], step: int) -> NDArray[np.floating]:
    """Return over how much each window is far rougher than those beside it, shape as ``rough``."""
    whole, half = rough.size, ROUGH_REACH // 2
    beside = np.concatenate([rough[:half][::-1], rough, rough[: -(ROUGH_REACH - half) : -1]])
    reach = 1
    while reach < ROUGH_REACH:  # the loudest of so many windows from each one on
        beside = np.maximum(beside[:-reach], beside[reach:])
        reach *= 2
    # The loudest of the windows that end two before each one, and of those that begin two behind it.
    before, behind = (np.full(whole, np.inf, rough.dtype) for _ in range(2))
    before[half + 2 :] = beside[: whole - half - 2]
    behind[: whole - half - 2] = beside[half + 2 :]
    return LONE_ROUGH_RATIO * (np.maximum(before, behind) + step)


def _is_edge_of_zeros(samples: Int32s, place: Range) -> bool:
    """Return whether zeros begin or end at what looks like a click: it is where sound is cut off or sets in again."""
    reach = LEAST_RUN + NEAR_SAMPLES
    low = max(0, place[0] - reach)
    return any(run.value == 0 for run in constant_runs(samples[low : place[1] + reach]))


def _click(samples: Int32s, rough: Range, step: int) -> Range | None:
    low, high = rough
    if low < FIT_SAMPLES or high + FIT_SAMPLES > samples.size:
        return None
    piece = samples[low - FIT_SAMPLES : high + FIT_SAMPLES].astype(np.float64)
    before, behind = piece[:FIT_SAMPLES], piece[-FIT_SAMPLES:]
    levels = [float(np.sqrt(np.mean(side**2))) for side in (before, behind)]
    if min(levels) < max(LEAST_LEVEL_STEPS * step, 0.5 * max(levels)):
        return None
    predictor = fit_predictor(before)
    errors = np.abs(prediction_errors(piece, predictor))
    usual = float(errors[PREDICTOR_ORDER:FIT_SAMPLES].max()) + step
    if float(errors[-FIT_SAMPLES + PREDICTOR_ORDER :].max()) > 2 * usual:
        return None
    odd = np.flatnonzero(errors > 4 * usual)
    if not odd.size:
        return None
    first = int(odd[0])
    length = _bridged(piece, first, predictor, 8 * usual)
    start = first + low - FIT_SAMPLES
    return (start, start + length) if length else None


def _bridged(piece: Float64s, start: int, predictor: Float64s, allowed: float) -> int:
    """Return how many samples have to be predicted for the sound to go on as it was; 0 where none will do."""
    filled = piece[: start + MOST_CLICK + 2 * PREDICTOR_ORDER].copy()
    for length in range(1, MOST_CLICK + 1):
        at = start + length - 1
        filled[at] = filled[at - PREDICTOR_ORDER : at][::-1] @ predictor
        if np.abs(prediction_errors(filled, predictor)[start + length :]).max() < allowed:
            return length
    return 0
