"""What in a capture does not look like what a tape holds: pure detectors, one track at a time.

Runs of one value are found exactly. Everything else is judged against the material itself: a linear predictor
is fitted to the surroundings, and a stretch whose prediction errors are much larger (click, burst) or much
smaller (interpolation, held samples) than the surroundings' is suspect. Linear prediction for finding defects
in audio: Godsill and Rayner, *Digital Audio Restoration* (Springer, 1998), chapter 5, from memory; the
thresholds are ours.

Audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from assembler.aligner.records.limits import INSTANT_SAMPLES, LEAST_TELLING, NEARLY_ALL, WINDOW_SAMPLES
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.limits import (
    DITHER_STEPS,
    LEAST_RUN,
    LONGEST_PAUSE,
    MOST_UNSTEADY,
    NOISE_SAMPLES,
    PREDICTOR_ORDER,
)

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s, Int32s


HASH_FACTOR = np.uint64(0x9E3779B97F4A7C15)
"""Knuth, *The Art of Computer Programming*, volume 3, section 6.4: multiplicative hashing; from memory."""


class Run(NamedTuple):
    """A run of one value, ``start`` to ``end``; square waves have a hundred in a second."""

    start: int
    end: int
    value: int


def constant_runs(samples: Int32s, least: int = LEAST_RUN) -> list[Run]:
    """Return the runs of at least ``least`` (16 or more) equal samples, in order."""
    # A comparison is of a sample with the one behind it, which belongs to the run, too.
    same = ranges_of(samples[1:] == samples[:-1], least=least - 1)
    values = samples[[start for start, _ in same]].tolist() if same else []
    return [Run(start, end + 1, value) for (start, end), value in zip(same, values, strict=True)]


def cuts_off(samples: Int32s, run: Run, step: int) -> bool:
    """Return whether a run of zeros cuts sound off at both ends.

    Recorded silence has quiet edges: the sound before it dies away and the sound behind it sets in from
    nothing. Where a capture was muted the millisecond beside the run is as loud as the sound around it. Noise of a
    few steps is never loud, but it does not pause for a few milliseconds either and go on as before.
    """
    return all(loud_edges(samples, run, step)) or _interrupts_noise(samples, run, step)


def loud_edges(samples: Int32s, run: Run, step: int) -> tuple[bool, bool]:
    """Return whether the sound is cut off before a run and behind it; arguments as for ``cuts_off``."""
    before = samples[max(0, run.start - 20 * INSTANT_SAMPLES) : run.start]
    behind = samples[run.end : run.end + 20 * INSTANT_SAMPLES]
    return (
        bool(before.size) and _is_loud(before[-INSTANT_SAMPLES:], before, step),
        bool(behind.size) and _is_loud(behind[:INSTANT_SAMPLES], behind, step),
    )


def is_held(samples: Int32s, run: Run, step: int, full_scale: int) -> bool:
    """Return whether a run of one value other than zero is a held sample and not a clipped peak."""
    if run.value == 0 or abs(run.value) >= full_scale - step:
        return False
    around = np.concatenate(
        (samples[max(0, run.start - NOISE_SAMPLES) : run.start], samples[run.end : run.end + NOISE_SAMPLES])
    ).astype(np.int64)
    if around.size < 2 * INSTANT_SAMPLES:
        return False
    # Where neighbours hardly ever differ the material is slow or coarse, and a run of one value is its own.
    return float(np.mean(np.diff(around) != 0)) > 0.75


def is_straight(samples: Int32s, start: int, end: int, step: int) -> bool:
    """Return whether ``start`` to ``end`` is a straight line between the samples beside it."""
    if end - start < 4 or start < 1 or end >= samples.size:
        return False
    ramp = np.linspace(float(samples[start - 1]), float(samples[end]), end - start + 2)[1:-1]
    return bool(np.abs(samples[start:end] - ramp).max() <= step)


def is_peak(samples: Int32s, start: int, end: int) -> bool:
    """Return whether ``start`` to ``end`` is a peak: hardly anything beside it lies farther from zero."""
    near = np.abs(samples[max(0, start - WINDOW_SAMPLES) : end + WINDOW_SAMPLES].astype(np.int64))
    return int(np.abs(samples[start:end].astype(np.int64)).min()) >= NEARLY_ALL * int(near.max())


@cache
def quick_length(least: int) -> int:
    """Return the smallest product of twos, threes and fives that is at least so large.

    A transform of a length with a large prime factor takes a hundred times as long.
    """
    best = 1 << max(0, least - 1).bit_length()
    fives = 1
    while fives < best:
        product = fives
        while product < best:
            twos = 1 << (-(-least // product) - 1).bit_length()
            best = min(best, twos * product)
            product *= 3
        fives *= 5
    return best


def fit_predictor(context: Float64s, order: int = PREDICTOR_ORDER) -> Float64s:
    """Return the coefficients that predict a sample of good material, shape (n,), from those before, nearest first."""
    windowed = context * np.hanning(context.size)
    # Zeros as far as the furthest lag reaches; a length with a large prime factor would take a hundred times as long.
    size = quick_length(context.size + order)
    spectrum = np.fft.rfft(windowed, size)
    correlation = np.fft.irfft(np.abs(spectrum) ** 2, size)[: order + 1]
    # A floor under the first value keeps pure tones, whose predictor is all but singular, solvable.
    correlation[0] = correlation[0] * (1 + 1e-9) + 1e-3 * context.size
    lags = np.arange(order)
    return np.linalg.solve(correlation[np.abs(lags - lags[:, np.newaxis])], correlation[1:])


def prediction_errors(samples: Float64s, predictor: Float64s) -> Float64s:
    """Return each sample less its prediction, shape as ``samples``; zero where too few samples come before."""
    kernel = np.concatenate(([1.0], -predictor))
    errors = np.convolve(samples, kernel)[: samples.size]
    errors[: predictor.size] = 0.0
    return np.asarray(errors, np.float64)


def _interrupts_noise(samples: Int32s, run: Run, step: int) -> bool:
    before = samples[max(0, run.start - NOISE_SAMPLES) : run.start]
    behind = samples[run.end : run.end + NOISE_SAMPLES]
    if run.end - run.start > LONGEST_PAUSE or min(before.size, behind.size) < NOISE_SAMPLES:
        return False
    levels = [
        float(np.std(side)) for side in (before[-INSTANT_SAMPLES:], before, behind, behind[:INSTANT_SAMPLES])
    ]
    pauses = any(constant_runs(side, LEAST_RUN // 2) for side in (before, behind))
    return min(levels) > DITHER_STEPS * step and max(levels) < MOST_UNSTEADY * min(levels) and not pauses


def _is_loud(edge: Int32s, far: Int32s, step: int) -> bool:
    edge_level = float(np.sqrt(np.mean(edge.astype(np.float64) ** 2)))
    far_level = float(np.sqrt(np.mean(far.astype(np.float64) ** 2)))
    return edge_level >= 6 * step and edge_level >= 0.2 * far_level


def suspect_runs(
    samples: Int32s, step: int, full_scale: int, at: int | None = None
) -> list[tuple[str, Range]]:
    """Return the mutes and holds of a piece of one track, as kind and range.

    Runs that touch the ends are left to the neighbouring piece; where ``at`` is given only what holds that sample is
    asked for.
    """
    runs = [run for run in constant_runs(samples) if run.start > 0 and run.end < samples.size]
    wanted = [run for run in runs if at is None or run.start <= at < run.end]
    held = [run for run in wanted if is_held(samples, run, step, full_scale)]
    if held and sum(is_held(samples, run, step, full_scale) for run in runs) > LEAST_TELLING:
        held = []
    muted = [run for run in wanted if run.value == 0 and cuts_off(samples, run, step)]
    found = [("mute", (run.start, run.end)) for run in muted]
    found += [("hold", (run.start, run.end)) for run in held]
    return sorted(found, key=lambda row: row[1])
