"""What good sound around a place looks like: which models foresee it, and how well; and where a pulse wave is known.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from operator import itemgetter
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import CLEARLY, HALF, LEAST_WITNESSES
from assembler.aligner.sound.levels import fit_predictor
from assembler.aligner.sound.limits import (
    CLEARLY_BETTER,
    DITHER_STEPS,
    FIT_SAMPLES,
    LEAST_BETTER,
    LEAST_JUMP_STEPS,
    LEAST_SCALE_STEPS,
    PERIODS_SAMPLES,
    PREDICTOR_ORDER,
)
from assembler.aligner.sound.models import Model, error_costs, period_of
from assembler.aligner.sound.two_levels.waves import pulse_from, pulse_through, pulse_towards, stands_before
from assembler.arrays import distinct, median

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.two_levels.pulse import Pulse
    from assembler.arrays import Bools, Float64s, Int32s


@dataclass(frozen=True)
class Surroundings:
    """What good sound around a place looks like.

    Args:
        agreed: what most captures hold, else the first one: the place with its context.
        is_agreed: where two captures at least do.
        models: linear prediction first, fitted to either side.
        scales: least and largest scale of the errors of linear prediction, in steps.
        step: one step of the tape's word length, in sample values.
        is_stepped: whether the sound holds levels by nature, as a square wave does, and no more is known of it.
        longest_zero: where zero is one of those levels, for how many samples the sound may stay there; else 0.
        least_level: then the smallest of the other levels, in steps.
    """

    agreed: Int32s
    is_agreed: Bools
    models: tuple[Model, ...]
    scales: tuple[float, float]
    step: int
    is_stepped: bool
    longest_zero: int = 0
    least_level: float = 0.0

    @property
    def pulse(self) -> Pulse | None:
        """The wave that goes on through the place in phase, where there is one."""
        return self.models[0].pulse

    @property
    def holds_levels(self) -> bool:
        """Whether the sound holds levels by nature."""
        return self.is_stepped or self.pulse is not None


def look_around(versions: Sequence[Int32s], place: Range, step: int) -> Surroundings:
    """Return what the captures agree on around a place; samples in which one stands alone are left out."""
    agreed, is_agreed = _agreement(versions)
    sides = [(max(0, place[0] - FIT_SAMPLES), place[0]), (place[1], min(agreed.size, place[1] + FIT_SAMPLES))]
    sides = [side for side in sides if side[1] - side[0] > 2 * PREDICTOR_ORDER] or [(0, agreed.size)]
    fitted = [Model(fit_predictor(agreed[slice(*side)].astype(np.float64)), 0) for side in sides]
    # How far off a model of one side is on the other one tells nothing: beside silence, any loudness would be usual.
    linear = [
        _rated(model, agreed, is_agreed, [side], step) for model, side in zip(fitted, sides, strict=True)
    ]
    least = float(np.mean([cost for _, cost in linear]))
    past = agreed[max(0, place[0] - PERIODS_SAMPLES) : place[0]]
    lag = period_of(past)
    specials = [_rated(Model(np.ones(1), 0), agreed, is_agreed, sides, step)]
    # Silence right before the place repeats itself at any lag, and foretells nothing of what sounds behind.
    if lag and np.ptp(agreed[sides[0][0] : place[0]] if sides[0][0] < place[0] else past):
        where = [(max(0, place[0] - FIT_SAMPLES - lag), place[0])]
        specials.append(_rated(Model(np.zeros(0), lag), agreed, is_agreed, where, step))
    is_stepped = min(cost for _, cost in specials) < least - CLEARLY_BETTER and _jumps(
        agreed, is_agreed, sides, step
    )
    models = [model for model, _ in linear]
    pulse = pulse_through(agreed, place, is_agreed) if is_stepped else None
    if pulse is not None:
        return _within_wave(agreed, is_agreed, pulse, step)
    if is_stepped:
        # Its edges are so far off that noise of any loudness would pass as its sound, were their size a usual error.
        models = [replace(model, scales=model.scales[:1]) for model, _ in specials]
    else:
        models += [model for model, cost in specials if cost < least - LEAST_BETTER]
    scales = [scale for model in models for scale in model.scales.tolist()]
    if min(scales) < DITHER_STEPS:
        # Beside what hardly stirs silence is nothing new.
        models = [replace(model, scales=np.union1d(model.scales, [LEAST_SCALE_STEPS])) for model in models]
    around = Surroundings(agreed, is_agreed, tuple(models), (min(scales), max(scales)), step, is_stepped)
    return _with_zero_level(around, place) if is_stepped else around


def _with_zero_level(around: Surroundings, place: Range) -> Surroundings:
    """Return surroundings that know whether zero is a level of the sound: it comes back to it again and again."""
    agreed = around.agreed
    sides = [(0, place[0]), (place[1], agreed.size)]
    held = [one for side in sides for one in _inner_levels(agreed[slice(*side)])]
    levels = [size for size, value in held if value]
    zeros = [size for size, value in held if not value]
    # Longer ones are rests.
    zeros = [size for size in zeros if size <= CLEARLY * max(levels, default=0)]
    if len(zeros) < LEAST_WITNESSES:
        return around
    others = np.concatenate([agreed[low:high] for low, high in sides])
    least = float(np.abs(others[others != 0]).min()) / around.step
    return replace(around, longest_zero=int(CLEARLY * max(zeros)), least_level=least)


def _inner_levels(sound: Int32s) -> list[tuple[int, int]]:
    """Return for how long sound stays at each level in turn, and which, but for the first and the last."""
    edges = np.flatnonzero(np.diff(sound)) + 1
    return list(zip(np.diff(edges).tolist(), sound[edges[:-1]].tolist(), strict=True))


def _jumps(agreed: Int32s, is_agreed: Bools, sides: Sequence[Range], step: int) -> bool:
    """Return whether sound that changes its level seldom does so by many steps, and at once.

    What fades away goes by single steps; what is clipped goes from peak to peak over many samples.
    """
    changes = [np.abs(np.diff(agreed[slice(*side)].astype(np.int64))) for side in sides]
    moving = [side for side in changes if side.any()]
    if any(_in_a_row(agreed[slice(*side)], is_agreed[slice(*side)]) > HALF for side in sides):
        return False
    return bool(moving) and min(median(side[side > 0]) for side in moving) >= LEAST_JUMP_STEPS * step


def _in_a_row(sound: Int32s, known: Bools) -> float:
    """Return the share of changes between known samples that follow another one at once."""
    changes = (np.diff(sound) != 0) & known[1:] & known[:-1]
    return float(np.mean(changes[1:][changes[:-1]])) if changes[:-1].any() else 0.0


def _within_wave(agreed: Int32s, is_agreed: Bools, pulse: Pulse, step: int) -> Surroundings:
    scale = LEAST_SCALE_STEPS
    model = Model(np.zeros(0), 0, np.array([scale]), pulse)
    return Surroundings(agreed, is_agreed, (model,), (scale, scale), step, is_stepped=False)


def zones_of(
    versions: Sequence[Int32s], place: Range, around: Surroundings
) -> list[tuple[Range, Surroundings]]:
    """Return the parts of a place in which a pulse wave is known, and the rest, in order.

    Where a note ends in a place, or begins there, the version that goes on with it for longest tells what sounds so
    far, unless it may be a block played twice.
    """
    if not around.is_stepped:
        return [(place, around)]
    start, end = place
    endings: list[tuple[Pulse | None, int]] = [(None, start)]
    beginnings: list[tuple[Pulse | None, int]] = [(None, end)]
    for one in versions:
        found = pulse_from(one, place, around.is_agreed)
        if found and not stands_before(one, (start, found[1])):
            endings.append(found)
        found = pulse_towards(one, place, around.is_agreed)
        if found and not stands_before(one, (found[1], end)):
            beginnings.append(found)
    ending, last = max(endings, key=itemgetter(1))
    beginning, first = min(beginnings, key=itemgetter(1))
    first = max(first, last)
    zones = [((start, last), ending), ((last, first), None), ((first, end), beginning)]
    return [
        (part, around if pulse is None else _within_wave(around.agreed, around.is_agreed, pulse, around.step))
        for part, pulse in zones
        if part[0] < part[1]
    ]


def _rated(
    model: Model, agreed: Int32s, is_agreed: Bools, sides: Sequence[Range], step: int
) -> tuple[Model, float]:
    """Return a model with its scales, and what good sound costs by it, in nats per sample."""
    memory = model.lag or model.predictor.size
    scales, costs = [], []
    for low, high in sides:
        errors = model.errors(agreed[low:high], step)[memory:]
        doubted = np.convolve(~is_agreed[low:high], np.ones(memory + 1))[memory : high - low]
        good = errors[doubted == 0] if np.count_nonzero(doubted == 0) > PREDICTOR_ORDER else errors
        # The median of a t distribution with two degrees of freedom is 0.816 of its scale.
        own = [median(np.abs(good)) / 0.816, float(np.sqrt(np.mean(good**2)))]
        own = [max(scale, LEAST_SCALE_STEPS) for scale in own]
        scales += own
        costs.append(min(float(np.mean(error_costs(good, scale))) for scale in own))
    return replace(model, scales=distinct(np.array(scales))), float(np.mean(costs))


def _agreement(versions: Sequence[Int32s]) -> tuple[Int32s, Bools]:
    """Return the samples that most captures hold, else the first one's, and where two at least agree."""
    agreed = versions[0].copy()
    is_agreed = np.zeros(agreed.size, np.bool_)
    for index, first in enumerate(versions):
        for second in versions[index + 1 :]:
            fresh = (first == second) & ~is_agreed
            agreed[fresh] = first[fresh]
            is_agreed |= fresh
    return agreed, is_agreed


def errors_of(samples: Int32s, around: Surroundings, start: int = 0) -> Float64s:
    """Return the prediction errors of each sample from ``start`` on, in steps, shape (models, samples)."""
    return np.stack([model.errors(samples, around.step, start) for model in around.models])


def differing(versions: Sequence[Int32s], place: Range) -> Bools:
    """Return which samples of a place are not the same in all versions, shape (samples of the place,)."""
    differs = np.zeros(place[1] - place[0], np.bool_)
    for samples in versions[1:]:
        differs |= samples[slice(*place)] != versions[0][slice(*place)]
    return differs
