"""What speaks for a stretch of a capture being the tape's sound, and what for its being a flaw: costs in nats.

A cost is the negative natural logarithm of a probability: how many nats it takes to write a stretch down under a
supposition. Sound is written as the errors of a linear predictor fitted to the surroundings, at one of the scales
that the surroundings show, or at its own, which costs more the further it lies from theirs. A flaw is written as what
a machine makes: nothing, where it holds a level, a line or a copy of what came before; else as noise without memory.
The supposition that writes all versions of a place down most shortly is the likeliest (minimum description length:
Rissanen, "Modeling by shortest data description", Automatica 14, 1978; from memory. The prices are ours).

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from assembler.aligner.detecting import PREDICTOR_ORDER, fit_predictor, prediction_errors
from assembler.aligner.pulses import pulse_from, pulse_through, pulse_towards

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.pulses import Pulse
    from assembler.aligner.ranges import Range
    from assembler.aligner.structures import Structure
    from assembler.arrays import Bools, Float64s, Int32s

Number = TypeVar("Number", float, "Float64s")

FIT_SAMPLES = 1024
"""Samples on each side of a place that the predictor is fitted to: 21 ms at 48 kHz."""

LEAST_SCALE_STEPS = 0.02
"""The scale of what is foretold exactly, as silence in silence."""

LEAST_BELL_STEPS = 0.5
"""Rounding leaves no bell-shaped errors narrower than this."""

WINDOW_SAMPLES = 256
LEAST_OWN = 256

OWN_SCALE_COST = 12.0
RISE_COST = 6.0
"""Sound of another scale than around: once, and for each factor e that it is louder."""
NEXT_SCALE_COST = 3.0
"""To go on at a scale that differs from window to window."""

STRAIGHT_COST_PER_SAMPLE = 0.7
LINE_REACH, LINE_COST = 8, 6.0
"""A line on which all samples lie exactly, rounded in one way, leaves nothing to tell but its ends and the way; they
may lie a little outside of where captures differ."""
KIND_COSTS = {"mute": 1.0, "hold": 2.0, "straight": 6.0, "repeat": 10.0}
NOISE_COST, NOISE_COST_PER_WINDOW = 2.0, 3.0
"""What it takes to say which flaw it is: a lag, a line's ends, a level of noise (and no less than sound's windows)."""

LEVEL_SAMPLES, LEVEL_COST = 64, 16.0
"""Noise may change its level at every 64th sample."""

TAU = 2.0 * np.pi

PERIODS_SAMPLES = 4096
LEAST_LAG, PERIOD_STRIDE = 16, 3
LEAST_PERIODIC = 0.5
"""A period is one where fewer samples differ from those a period before than half of those that differ from their
neighbours."""
LEAST_JUMP_STEPS = 8
LEAST_BETTER, CLEARLY_BETTER = 0.05, 1.0
"""A model for synthetic sound is used where it saves so many nats a sample; and no other, where it saves so many."""


@dataclass(frozen=True)
class Model:
    """One way to foresee a sample, and how far off it is in good sound.

    Args:
        predictor: coefficients, nearest sample first; empty where the sample a lag before is the prediction.
        lag: of a sound that repeats itself, in samples; 0 for the others.
        scales: shape (k,), of its errors in steps: usual and root mean square on either side.
        pulse: the wave that every sample is, where that is known.
    """

    predictor: Float64s
    lag: int
    scales: Float64s = field(default_factory=lambda: np.ones(1))
    pulse: Pulse | None = None

    def errors(self, samples: Int32s, step: int, start: int = 0) -> Float64s:
        """Return the prediction error of each sample, in steps; zero where too little comes before.

        Args:
            samples: to be foretold.
            step: one step of the tape's word length.
            start: where the first of them stands.
        """
        if self.pulse is not None:
            return self.pulse.errors(samples, start) / step
        sound = samples.astype(np.float64)
        if not self.lag:
            return prediction_errors(sound, self.predictor) / step
        errors = np.zeros(sound.size)
        errors[self.lag :] = (sound[self.lag :] - sound[: -self.lag]) / step
        return errors


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
    """

    agreed: Int32s
    is_agreed: Bools
    models: tuple[Model, ...]
    scales: tuple[float, float]
    step: int
    is_stepped: bool

    @property
    def pulse(self) -> Pulse | None:
        """The wave that goes on through the place in phase, where there is one."""
        return self.models[0].pulse

    @property
    def holds_levels(self) -> bool:
        """Whether the sound holds levels by nature."""
        return self.is_stepped or self.pulse is not None


def look_around(versions: Sequence[Int32s], place: Range, step: int) -> Surroundings:
    """Return what the captures agree on around a place; samples in which one stands alone are left out.

    Args:
        versions: captures of the same samples, witnesses among them.
        place: where they differ.
        step: one step of the tape's word length.
    """
    agreed, is_agreed = _agreement(versions)
    sides = [
        (max(0, place[0] - FIT_SAMPLES), place[0]),
        (place[1], min(agreed.size, place[1] + FIT_SAMPLES)),
    ]
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
    if lag:
        where = [(max(0, place[0] - FIT_SAMPLES - lag), place[0])]
        specials.append(_rated(Model(np.zeros(0), lag), agreed, is_agreed, where, step))
    is_stepped = min(cost for _, cost in specials) < least - CLEARLY_BETTER and _jumps(agreed, sides, step)
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
    if min(scales) < LEAST_BELL_STEPS:
        # Beside what hardly stirs silence is nothing new.
        models = [replace(model, scales=np.union1d(model.scales, [LEAST_SCALE_STEPS])) for model in models]
    return Surroundings(agreed, is_agreed, tuple(models), (min(scales), max(scales)), step, is_stepped)


def _jumps(agreed: Int32s, sides: Sequence[Range], step: int) -> bool:
    """Return whether sound that changes its level seldom does so by many steps: what fades away goes by single ones."""
    changes = [np.abs(np.diff(agreed[slice(*side)].astype(np.int64))) for side in sides]
    usual = [float(np.median(side[side > 0])) for side in changes if side.any()]
    return bool(usual) and min(usual) >= LEAST_JUMP_STEPS * step


def _within_wave(agreed: Int32s, is_agreed: Bools, pulse: Pulse, step: int) -> Surroundings:
    scale = LEAST_SCALE_STEPS
    model = Model(np.zeros(0), 0, np.array([scale]), pulse)
    return Surroundings(agreed, is_agreed, (model,), (scale, scale), step, is_stepped=False)


def zones_of(
    versions: Sequence[Int32s], place: Range, around: Surroundings
) -> list[tuple[Range, Surroundings]]:
    """Return the parts of a place in which a pulse wave is known, and the rest, in order.

    Where one note ends in a place and another one begins there, one version goes on with the first and leads over to
    the second; where just one does both, its waves tell what sounds there. Of a version that does one of them alone
    it may be a block played twice.

    Args:
        versions: of the place with its surroundings.
        place: where they differ.
        around: what sound looks like around it.
    """
    if not around.is_stepped:
        return [(place, around)]
    found = [
        (ending, beginning)
        for samples in versions
        for ending in [pulse_from(samples, place, around.is_agreed)]
        for beginning in [pulse_towards(samples, place, around.is_agreed)]
        if ending is not None and beginning is not None
    ]
    if len(found) != 1:
        return [(place, around)]
    (first, last), (second, start) = found[0]
    start = max(start, last)
    zones = [
        ((place[0], last), _within_wave(around.agreed, around.is_agreed, first, around.step)),
        ((last, start), around),
        ((start, place[1]), _within_wave(around.agreed, around.is_agreed, second, around.step)),
    ]
    return [(part, own) for part, own in zones if part[0] < part[1]]


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
        own = [float(np.median(np.abs(good))) / 0.816, float(np.sqrt(np.mean(good**2)))]
        own = [max(scale, LEAST_SCALE_STEPS) for scale in own]
        scales += own
        costs.append(min(float(np.mean(_error_costs(good, scale))) for scale in own))
    return replace(model, scales=np.unique(np.array(scales))), float(np.mean(costs))


def period_of(sound: Int32s) -> int:
    """Return the lag at which nearly all samples repeat exactly, far more than neighbours do; 0 where there is none."""
    half = sound.size // 2
    held = float(np.mean(np.diff(sound) == 0)) if half > LEAST_LAG else 1.0
    if held in (0.0, 1.0):
        return 0
    recent = sound[half:][::PERIOD_STRIDE]
    windows = sliding_window_view(sound, sound.size - half)[: half - LEAST_LAG + 1, ::PERIOD_STRIDE]
    shares = (windows == recent).mean(axis=1)
    best = int(np.flatnonzero(shares == shares.max())[-1])
    return half - best if 1.0 - shares[best] < LEAST_PERIODIC * (1.0 - held) else 0


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


def _error_costs(errors: Float64s, scale: float) -> Float64s:
    """Return the cost of each prediction error, in steps: Student's t with two degrees of freedom, by whole steps.

    Its heavy tails let strokes and edges, which no predictor foresees, cost little more than they must.
    """
    high, low = (np.abs(errors) + 0.5) / scale, (np.abs(errors) - 0.5) / scale
    near = (high / np.sqrt(2.0 + high * high) - low / np.sqrt(2.0 + low * low)) / 2.0
    density = (2.0 + (errors / scale) ** 2) ** -1.5 / scale
    return np.asarray(
        -np.log(np.where(np.abs(errors) < 30.0 * scale + 30.0, near, density) + 1e-300), np.float64
    )


def errors_of(samples: Int32s, around: Surroundings, start: int = 0) -> Float64s:
    """Return the prediction errors of each sample from ``start`` on, in steps, shape (models, samples)."""
    return np.stack([model.errors(samples, around.step, start) for model in around.models])


def sound_cost(samples: Int32s, errors: Float64s, part: Range, around: Surroundings) -> float:
    """Return what it costs to write a part down as sound.

    Args:
        samples: one version.
        errors: its prediction errors.
        part: to be written.
        around: what sound looks like here.
    """
    start, end = part
    if start >= end:
        return 0.0
    plain = _windows_cost(errors[:, start:end], around)
    if end - start < LEAST_OWN or around.pulse is not None:
        return plain
    return min(plain, _own_cost(samples[start:end], around))


def _windows_cost(errors: Float64s, around: Surroundings) -> float:
    """Return the cost of errors, each window of them by the model and at the scale that suits it best."""
    edges = np.arange(0, errors.shape[1], WINDOW_SAMPLES)
    sizes = np.diff(np.append(edges, errors.shape[1]))
    known = []
    for model, own in zip(around.models, errors, strict=True):
        power = np.add.reduceat(own**2, edges)
        for scale in model.scales.tolist():
            known.append(np.add.reduceat(_error_costs(own, scale), edges))
            if scale >= LEAST_BELL_STEPS:
                known.append(sizes * np.log(TAU * (scale**2 + 1 / 12)) / 2 + power / (scale**2 + 1 / 12) / 2)
    power = np.min([np.add.reduceat(own**2, edges) for own in errors], axis=0) / sizes
    new = sizes * np.log(TAU * np.e * (power + 1 / 12)) / 2
    return _cheapest(np.array(known), new, _scale_cost(np.sqrt(power + 1 / 12), around))


def _cheapest(known: Float64s, new: Float64s, entry: Float64s) -> float:
    """Return what all windows cost by the cheapest choice of a way for each: to go on as before costs nothing.

    Args:
        known: cost of each window in each known way, shape (ways, windows).
        new: at its own scale, shape (windows,).
        entry: what it takes to begin with a scale of its own there, shape (windows,).
    """
    choice = float(np.log(len(known)))
    costs = known[:, 0] + choice
    own = float(new[0] + entry[0])
    for window in range(1, new.size):
        least = min(float(costs.min()), own)
        own = float(new[window]) + min(own + NEXT_SCALE_COST, least + float(entry[window]))
        costs = known[:, window] + np.minimum(costs, least + choice)
    return min(float(costs.min()), own)


def _scale_cost(scales: Float64s, around: Surroundings) -> Float64s:
    least, largest = around.scales
    rise, fall = np.log(scales / max(largest, LEAST_SCALE_STEPS)), np.log(least / scales)
    return np.asarray(OWN_SCALE_COST + RISE_COST * np.maximum(np.maximum(rise, fall), 0.0), np.float64)


def _own_cost(samples: Int32s, around: Surroundings) -> float:
    """Return the cost of sound of another pitch than around: its own predictor is written down with it."""
    sound = samples.astype(np.float64)
    errors = prediction_errors(sound, fit_predictor(sound))[PREDICTOR_ORDER:] / around.step
    power = float(np.mean(errors**2))
    size = samples.size
    cost = size * np.log(TAU * np.e * (power + 1 / 12)) / 2 + PREDICTOR_ORDER / 2 * np.log(size)
    return float(cost + _scale_cost(np.array([np.sqrt(power + 1 / 12)]), around)[0])


def border_cost(before: Int32s | None, behind: Int32s, at: int, end: int, around: Surroundings) -> float:
    """Return what the first samples behind a border cost, predicted from those before it.

    Args:
        before: version that is supposed to be the tape's before the border; None where none is: then nothing foretells
            the samples behind it.
        behind: version behind it.
        at: the border.
        end: how far the version behind is the tape's.
        around: what sound looks like here.
    """
    stop = min(at + PREDICTOR_ORDER, end, behind.size)
    if stop <= at:
        return 0.0
    if around.pulse is not None:
        return _windows_cost(errors_of(behind[at:stop], around, at), around)
    if before is None:
        noise = noise_cost(behind[at:stop], around.step)
        if not around.is_stepped:
            return noise
        # A level is told once, then what changes; of periods nothing has been heard yet.
        first = noise_cost(behind[at : at + 1], around.step)
        held = replace(around, models=around.models[:1])
        return min(noise, first + _windows_cost(errors_of(behind[at:stop], held), held))
    reach = max(PREDICTOR_ORDER, *(model.lag for model in around.models))
    spliced = np.concatenate((before[max(0, at - reach) : at], behind[at:stop]))
    return _windows_cost(errors_of(spliced, around)[:, at - stop :], around)


def flaw_cost(
    samples: Int32s,
    part: Range,
    structures: Sequence[Structure],
    truth: Int32s | None,
    around: Surroundings,
    *,
    is_first: bool = True,
) -> tuple[float, str]:
    """Return what it costs to write a part down as a flaw, and its kind: mute, hold, straight, repeat or burst.

    Args:
        samples: one version.
        part: to be written.
        structures: found in that version.
        truth: version that is supposed to be the tape's here; None where none is. A level or a line that begins with
            this part was made from its samples.
        around: what sound looks like here.
        is_first: whether nothing has been told yet of a structure that goes on from the part before.
    """
    start, end = part
    size = end - start
    noise = (
        noise_cost(samples[start:end], around.step)
        + NOISE_COST
        + NOISE_COST_PER_WINDOW * size / WINDOW_SAMPLES
    )
    best = noise, "burst"
    for one in structures:
        if (
            one.kind in KIND_COSTS
            and one.start <= start
            and end <= one.end
            and _is_anchored(one, samples, start, truth)
        ):
            cost = KIND_COSTS[one.kind] if is_first or one.start >= start else 0.0
            if one.kind == "straight":
                cost += _line_cost(samples, part, around.step)
            best = min(best, (cost, one.kind))
    return best


def _is_anchored(one: Structure, samples: Int32s, start: int, truth: Int32s | None) -> bool:
    if truth is None or one.start < start:
        return True
    return all(samples[anchor] == truth[anchor] for anchor in one.anchors if anchor < samples.size)


def _line_cost(samples: Int32s, part: Range, step: int) -> float:
    """Return what it takes to tell a part that runs straight; less where it lies exactly on a line beside it."""
    start, end = part
    rough = STRAIGHT_COST_PER_SAMPLE * (end - start)
    if rough <= LINE_COST:
        return rough
    for before in range(max(0, start - LINE_REACH), start):
        for behind in range(end, min(samples.size, end + LINE_REACH)):
            ends = samples[[before, behind]] / step
            line = np.interp(np.arange(before + 1, behind), [before, behind], ends)
            held = samples[before + 1 : behind] // step
            if any(np.array_equal(held, rounded(line)) for rounded in (np.rint, np.floor, np.trunc)):
                return LINE_COST
    return rough


def noise_cost(samples: Int32s, step: int) -> float:
    """Return what it costs to write samples down as noise without memory, at the level it happens to have.

    Longer noise may change its level once, or from window to window: flaws of one capture may follow each other.
    """
    squares = (samples / step) ** 2
    edges = np.arange(0, samples.size, WINDOW_SAMPLES)
    sizes = np.diff(np.append(edges, samples.size))
    windows = float((sizes * _noise_nats(np.add.reduceat(squares, edges) / sizes)).sum())
    one = samples.size * _noise_nats(float(np.mean(squares)))
    one = min(one, windows + NEXT_SCALE_COST * edges.size)
    ends = np.arange(LEVEL_SAMPLES, samples.size - LEVEL_SAMPLES, LEVEL_SAMPLES)
    if not ends.size:
        return one
    sums = np.concatenate(([0.0], np.cumsum(squares)))
    rest = samples.size - ends
    two = ends * _noise_nats(sums[ends] / ends) + rest * _noise_nats((sums[-1] - sums[ends]) / rest)
    return min(one, float(two.min()) + LEVEL_COST)


def _noise_nats(power: Number) -> Number:
    """Return nats per sample of noise of some power, in steps squared."""
    nats: Number = np.log(TAU * np.e * (power + 1 / 12)) / 2
    return nats
