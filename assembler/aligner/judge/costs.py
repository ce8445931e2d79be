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

from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from assembler.aligner.flaws.structures.builds import PEAKS
from assembler.aligner.judge.limits import (
    DETAIL_COST,
    FLAW_COST,
    KIND_COSTS,
    NOISE_COST,
    STRAIGHT_COST_PER_SAMPLE,
    STRANGE_LEVEL_COST,
    WHERE_COST,
    WINDOW_COST,
)
from assembler.aligner.records.limits import BRIDGE_SAMPLES, WINDOW_SAMPLES
from assembler.aligner.sound.levels import fit_predictor, prediction_errors
from assembler.aligner.sound.limits import DITHER_STEPS, LEAST_SCALE_STEPS, PREDICTOR_ORDER
from assembler.aligner.sound.models import error_costs
from assembler.aligner.sound.surroundings import errors_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.surroundings import Surroundings
    from assembler.arrays import Float64s, Int32s

Number = TypeVar("Number", float, "Float64s")

TAU = 2.0 * np.pi


def sound_cost(samples: Int32s, errors: Float64s, part: Range, around: Surroundings) -> float:
    """Return what it costs to write a part down as sound."""
    start, end = part
    if start >= end:
        return 0.0
    plain = _windows_cost(errors[:, start:end], around)
    if end - start < WINDOW_SAMPLES or around.pulse is not None:
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
            known.append(np.add.reduceat(error_costs(own, scale), edges))
            if scale >= DITHER_STEPS:
                known.append(sizes * np.log(TAU * (scale**2 + 1 / 12)) / 2 + power / (scale**2 + 1 / 12) / 2)
    power = np.min([np.add.reduceat(own**2, edges) for own in errors], axis=0) / sizes
    new = sizes * _noise_nats(power)
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
        own = float(new[window]) + min(own + WINDOW_COST, least + float(entry[window]))
        costs = known[:, window] + np.minimum(costs, least + choice)
    return min(float(costs.min()), own)


def _scale_cost(scales: Float64s, around: Surroundings) -> Float64s:
    least, largest = around.scales
    rise, fall = np.log(scales / max(largest, LEAST_SCALE_STEPS)), np.log(least / scales)
    return np.asarray(FLAW_COST + DETAIL_COST * np.maximum(np.maximum(rise, fall), 0.0), np.float64)


def _own_cost(samples: Int32s, around: Surroundings) -> float:
    """Return the cost of sound of another pitch than around: its own predictor is written down with it."""
    sound = samples.astype(np.float64)
    errors = prediction_errors(sound, fit_predictor(sound))[PREDICTOR_ORDER:] / around.step
    power = float(np.mean(errors**2))
    size = samples.size
    cost = size * _noise_nats(power) + PREDICTOR_ORDER / 2 * np.log(size)
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
    if around.pulse is not None:
        return _windows_cost(errors_of(behind[at:stop], around, at), around)
    if before is None:
        noise = noise_cost(behind[at:stop], around.step, around.least_level)
        if not around.is_stepped:
            return noise
        # A level is told once, then what changes; of periods nothing has been heard yet.
        first = noise_cost(behind[at : at + 1], around.step, around.least_level)
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
    noise = noise_cost(samples[start:end], around.step, around.least_level) + NOISE_COST
    best = noise + WINDOW_COST * size / WINDOW_SAMPLES, "burst"
    for one in structures:
        if (
            one.kind in KIND_COSTS
            # Peaks are clipped again and again: one is only held where another version shows sound instead.
            and (truth is not None or one.kind not in PEAKS)
            and one.spans(part)
            and (one.is_level or _is_anchored(one, samples, start, truth))
        ):
            is_told = not is_first and one.start < start
            cost = 0.0 if is_told else KIND_COSTS[one.kind]
            if not _is_anchored(one, samples, start, truth):
                cost += STRANGE_LEVEL_COST + noise_cost(samples[start : start + 1], around.step)
            if one.is_exact:
                cost += 0.0 if is_told else DETAIL_COST
            elif one.kind == "straight":
                cost += STRAIGHT_COST_PER_SAMPLE * size
            best = min(best, (cost, "hold" if one.kind in PEAKS else one.kind))
    return best


def _is_anchored(one: Structure, samples: Int32s, start: int, truth: Int32s | None) -> bool:
    if truth is None or one.start < start:
        return True
    return all(samples[anchor] == truth[anchor] for anchor in one.anchors if anchor < samples.size)


def noise_cost(samples: Int32s, step: int, least: float = 0.0) -> float:
    """Return what it costs to write samples down as noise without memory, at the level it happens to have.

    Longer noise may change its level once, or from window to window: flaws of one capture may follow each other. No
    sample is taken to lie under the ``least`` level, in steps: where zero is one of several levels of a sound, it is no
    more likely than another.
    """
    squares = np.maximum(np.abs(samples) / step, least) ** 2
    edges = np.arange(0, samples.size, WINDOW_SAMPLES)
    sizes = np.diff(np.append(edges, samples.size))
    windows = float((sizes * _noise_nats(np.add.reduceat(squares, edges) / sizes)).sum())
    one = samples.size * _noise_nats(float(np.mean(squares)))
    one = min(one, windows + WINDOW_COST * edges.size)
    ends = np.arange(BRIDGE_SAMPLES, samples.size - BRIDGE_SAMPLES, BRIDGE_SAMPLES)
    if not ends.size:
        return one
    sums = np.concatenate(([0.0], np.cumsum(squares)))
    rest = samples.size - ends
    two = ends * _noise_nats(sums[ends] / ends) + rest * _noise_nats((sums[-1] - sums[ends]) / rest)
    return min(one, float(two.min()) + WHERE_COST)


def added_cost(difference: Int32s, step: int) -> float:
    """Return what it costs to write down what a flaw has added to sound: hum, a buzz, an offset, or just noise.

    The difference is that of two versions, shape (samples,).
    """
    size = difference.size
    told = NOISE_COST + WINDOW_COST * size / WINDOW_SAMPLES
    added = difference.astype(np.float64) / step
    held = float(error_costs(np.diff(added, prepend=0.0), LEAST_SCALE_STEPS).sum())
    if size < WINDOW_SAMPLES:
        return told + min(noise_cost(difference, step), held)
    errors = prediction_errors(added, fit_predictor(added))[PREDICTOR_ORDER:]
    own = size * _noise_nats(float(np.mean(errors**2))) + PREDICTOR_ORDER / 2 * float(np.log(size))
    return told + min(noise_cost(difference, step), held, own)


def _noise_nats(power: Number) -> Number:
    """Return nats per sample of noise of some power, in steps squared."""
    nats: Number = np.log(TAU * np.e * (power + 1 / 12)) / 2
    return nats
