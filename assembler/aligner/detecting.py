"""What in a capture does not look like what a tape holds: pure detectors, one track at a time.

Runs of one value are found exactly. Everything else is judged against the material itself: a linear predictor
is fitted to the surroundings, and a stretch whose prediction errors are much larger (click, burst) or much
smaller (interpolation, held samples) than the surroundings' is suspect. Linear prediction for finding defects
in audio: Godsill and Rayner, *Digital Audio Restoration* (Springer, 1998), chapter 5, from memory; the
thresholds are ours.

Audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.linalg import solve_toeplitz
from scipy.ndimage import maximum_filter1d

from assembler.aligner.ranges import ranges_of

if TYPE_CHECKING:
    from assembler.aligner.ranges import Range
    from assembler.arrays import Float64s, Int32s, Int64s

LEAST_RUN = 32
"""Equal samples in a row, 0.7 ms at 48 kHz, from which a run is looked at."""

PREDICTOR_ORDER = 24
EDGE_SAMPLES = 48
"""One millisecond at 48 kHz: the edge of a run whose level says whether something was cut off."""

MATERIAL_RUNS = 12
"""Held runs in one block from which they are taken for the material: a square wave holds its level by nature."""

REPEAT_REACH = 16384
"""How far back, in samples, the original of a repeated block is looked for."""

LONE_CONTEXT = 1024
"""Samples of good sound on either side from which a flaw of a lone capture is told."""

LEAST_STRAIGHT, STRAIGHT_CONTEXT = 16, 256
LEAST_BEND_STEPS, LEAST_KINK_STEPS = 64, 16
"""The sound beside a straight line bends by so much from sample to sample, and so much where the line begins and
ends: a slow wave is nearly straight for a while, but bends little beside that too."""

LEAST_LAG, LARGEST_LAG = 128, 4096
"""Blocks that a machine plays twice; longer ones may be a sequencer's, shorter ones a tone's periods."""

HASHED_SAMPLES = 8
HASH_FACTOR = np.uint64(0x9E3779B97F4A7C15)
"""Knuth, *The Art of Computer Programming*, volume 3, section 6.4: multiplicative hashing; from memory."""

LEAST_CHANGING = 0.75
"""Share of a repeated block's samples that differ from the one before: a square wave's level tells no block."""

SPLICE_RATIO = 4.0
"""How far a splice lies over nearly all prediction errors before it."""

ROUGH_SAMPLES, ROUGH_REACH, ROUGH_RATIO = 32, 16, 4.0
MOST_THROWN = 2048
LEAST_BURST, MOST_CLICK = 128, 8
LEAST_LEVEL_STEPS = 32
FLAT_RATIO, LEAST_WHITE = 1.5, 0.5
"""What is thrown into a sound: looked for in short windows far rougher than 16 windows on either side, then proved
on its prediction errors. Values were chosen on tapes of ``scripts.bench.trial_sessions.make_tape`` (generator seeded
with 77): nothing is told of good sound there.
"""


@dataclass(frozen=True)
class Run:
    """A run of one value, ``start`` to ``end``."""

    start: int
    end: int
    value: int


def constant_runs(samples: Int32s, least: int = LEAST_RUN) -> list[Run]:
    """Return the runs of at least ``least`` (16 or more) equal samples, in order."""
    same = np.zeros((samples.size + 7) // 8 * 8, np.bool_)
    np.equal(samples[1:], samples[:-1], out=same[1 : samples.size])
    # Eight comparisons are looked at as one word: a run of 16 holds a whole word wherever it begins, and
    # music has hardly any, so that nearly every block ends here.
    full = same.view(np.uint64) == 0x0101010101010101
    runs = []
    for first, last in ranges_of(full):
        start, end = first * 8, last * 8
        while start > 0 and same[start - 1]:
            start -= 1
        while end < samples.size and same[end]:
            end += 1
        # ``same[i]`` compares sample i with the one before it, which belongs to the run too.
        if end - start + 1 >= least:
            runs.append(Run(start - 1, end, int(samples[start])))
    return runs


def cuts_off(samples: Int32s, run: Run, step: int) -> bool:
    """Return whether a run of zeros cuts sound off at both ends.

    Recorded silence has quiet edges: the sound before it dies away and the sound behind it sets in from
    nothing. Where a capture was muted the millisecond beside the run is as loud as the sound around it.

    Args:
        samples: the run with its surroundings.
        run: where it lies in ``samples``.
        step: one step of the tape's word length.
    """
    return all(loud_edges(samples, run, step))


def loud_edges(samples: Int32s, run: Run, step: int) -> tuple[bool, bool]:
    """Return whether the sound is cut off before a run and behind it; arguments as for ``cuts_off``."""
    before = samples[max(0, run.start - 20 * EDGE_SAMPLES) : run.start]
    behind = samples[run.end : run.end + 20 * EDGE_SAMPLES]
    return (
        bool(before.size) and _is_loud(before[-EDGE_SAMPLES:], before, step),
        bool(behind.size) and _is_loud(behind[:EDGE_SAMPLES], behind, step),
    )


def is_held(samples: Int32s, run: Run, step: int, full_scale: int) -> bool:
    """Return whether a run of one value other than zero is a held sample and not a clipped peak.

    Args:
        samples: the run with its surroundings.
        run: where it lies in ``samples``.
        step: one step of the tape's word length.
        full_scale: the largest positive value there is.
    """
    if run.value == 0 or abs(run.value) >= full_scale - step:
        return False
    around = np.concatenate(
        (samples[max(0, run.start - 512) : run.start], samples[run.end : run.end + 512])
    ).astype(np.int64)
    if around.size < 2 * EDGE_SAMPLES:
        return False
    # Where neighbours hardly ever differ the material is slow or coarse, and a run of one value is its own.
    return float(np.mean(np.diff(around) != 0)) > 0.75


def is_straight(samples: Int32s, start: int, end: int, step: int) -> bool:
    """Return whether ``start`` to ``end`` is a straight line between the samples beside it."""
    if end - start < 4 or start < 1 or end >= samples.size:
        return False
    ramp = np.linspace(float(samples[start - 1]), float(samples[end]), end - start + 2)[1:-1]
    return bool(np.abs(samples[start:end] - ramp).max() <= step)


def constant_share(samples: Int32s, start: int, end: int, *, zero: bool) -> float:
    """Return the share of ``start`` to ``end`` that repeats the sample before (and is zero, or is not)."""
    piece = samples[start:end]
    if piece.size == 0:
        return 0.0
    before = samples[start - 1] if start else piece[0]
    same = np.empty(piece.size, np.bool_)
    same[0] = piece[0] == before or (piece.size > 1 and piece[0] == piece[1])
    np.equal(piece[1:], piece[:-1], out=same[1:])
    return float(np.mean(same & ((piece == 0) == zero)))


def repeated_from(samples: Int32s, start: int, end: int) -> int | None:
    """Return how many samples back the stretch stands already, or None.

    A machine that plays a block twice puts an exact copy of earlier samples in the place of new ones.
    """
    length = end - start
    if length < LEAST_RUN:
        return None
    head = samples[start : start + 16]
    past = samples[max(0, start - REPEAT_REACH) : start]
    if past.size < head.size or not np.any(head != head[0]):
        return None
    hits = np.flatnonzero((sliding_window_view(past, head.size) == head).all(axis=1))
    for hit in hits[::-1]:
        lag = past.size - int(hit)
        copied = min(length, lag)
        origin = samples[start - lag : start - lag + copied]
        if np.mean(origin == samples[start : start + copied]) > 0.95 and copied >= 0.5 * length:
            return lag
    return None


def fit_predictor(context: Float64s, order: int = PREDICTOR_ORDER) -> Float64s:
    """Return the coefficients that predict a sample from those before it, nearest first.

    Args:
        context: shape (n,), good material.
        order: number of coefficients.
    """
    windowed = context * np.hanning(context.size)
    spectrum = np.fft.rfft(windowed, 2 * context.size)
    correlation = np.fft.irfft(np.abs(spectrum) ** 2)[: order + 1]
    # A floor under the first value keeps pure tones, whose predictor is all but singular, solvable.
    correlation[0] = correlation[0] * (1 + 1e-9) + 1e-3 * context.size
    return np.asarray(solve_toeplitz(correlation[:-1], correlation[1:]), np.float64)


def prediction_errors(samples: Float64s, predictor: Float64s) -> Float64s:
    """Return each sample less its prediction, shape as ``samples``; zero where too few samples come before."""
    kernel = np.concatenate(([1.0], -predictor))
    errors = np.convolve(samples, kernel)[: samples.size]
    errors[: predictor.size] = 0.0
    return np.asarray(errors, np.float64)


def _is_loud(edge: Int32s, far: Int32s, step: int) -> bool:
    edge_level = float(np.sqrt(np.mean(edge.astype(np.float64) ** 2)))
    far_level = float(np.sqrt(np.mean(far.astype(np.float64) ** 2)))
    return edge_level >= 6 * step and edge_level >= 0.2 * far_level


def suspect_runs(samples: Int32s, step: int, full_scale: int) -> list[tuple[str, Range]]:
    """Return the mutes and holds of a piece of one track, as kind and range.

    Args:
        samples: one track; runs that touch its ends are left to the neighbouring piece.
        step: one step of the tape's word length.
        full_scale: the largest positive value there is.
    """
    runs = [run for run in constant_runs(samples) if run.start > 0 and run.end < samples.size]
    held = [run for run in runs if is_held(samples, run, step, full_scale)]
    if len(held) > MATERIAL_RUNS:
        held = []
    muted = [run for run in runs if run.value == 0 and cuts_off(samples, run, step)]
    found = [("mute", (run.start, run.end)) for run in muted]
    found += [("hold", (run.start, run.end)) for run in held]
    return sorted(found, key=lambda row: row[1])


def lone_flaws(samples: Int32s, step: int) -> list[tuple[str, Range]]:
    """Return what a single capture shows by itself, as kind and range: straight, repeat, click and burst.

    No other capture bears witness, so that only what no instrument does is told: each flaw interrupts a sound that
    goes on behind it as it was before. Much is missed, above all in quiet, coarse or sparse sound.

    Args:
        samples: one track.
        step: one step of the tape's word length.
    """
    bend = np.abs(np.diff(samples.astype(np.int64), 2))
    found = [("straight", place) for place in _straight_places(samples, bend, step)]
    found += [("repeat", place) for place in _repeat_places(samples)]
    found += _thrown_in(samples, bend, step)
    return sorted(found, key=lambda row: row[1])


def _straight_places(samples: Int32s, bend: Int64s, step: int) -> list[Range]:
    """Return lines with a kink at both ends, in sound that bends all the time beside them."""
    places = []
    for first, last in ranges_of(bend <= step):
        start, end = first + 1, last + 1
        beside = bend[max(0, first - STRAIGHT_CONTEXT) : first], bend[last : last + STRAIGHT_CONTEXT]
        if end - start < LEAST_STRAIGHT or min(side.size for side in beside) < STRAIGHT_CONTEXT // 2:
            continue
        has_kinks = min(bend[first - 1], bend[last]) >= LEAST_KINK_STEPS * step
        bends = all(float(np.median(side)) >= LEAST_BEND_STEPS * step for side in beside)
        if (
            has_kinks
            and bends
            and samples[start] != samples[end - 1]
            and is_straight(samples, start, end, step)
        ):
            places.append((start, end))
    return places


def _repeat_places(samples: Int32s) -> list[Range]:
    """Return blocks that stand once more right behind themselves, with the sound going on before and behind.

    What is periodic by nature repeats more than once, and what a sequencer repeats is longer or sets in from quiet.
    """
    places: list[Range] = []
    for lag, at in _likely_repeats(samples):
        if any(start <= at < end for start, end in places):
            continue
        differs = np.flatnonzero(
            samples[max(lag, at - lag - 8) : at] != samples[max(0, at - 2 * lag - 8) : at - lag]
        )
        start = max(lag, at - lag - 8) + (int(differs[-1]) + 1 if differs.size else 0)
        differs = np.flatnonzero(
            samples[at : at + lag + 8] != samples[at - lag : at + 8][: samples.size - at]
        )
        if not differs.size or start == lag:
            continue
        end = at + int(differs[0])
        # At either end a few samples more may be equal by chance.
        if lag - 2 <= end - start <= lag + 6 and _is_spliced(samples, start, end):
            places.append((start, end))
    return places


def _likely_repeats(samples: Int32s) -> list[tuple[int, int]]:
    """Return lags, and a place for each, at which short pieces stand a second time; a sixteenth is looked at."""
    count = samples.size - HASHED_SAMPLES
    if count < 1:
        return []
    hashed = np.zeros(count, np.uint64)
    for index in range(HASHED_SAMPLES):
        hashed = (hashed ^ samples[index : index + count].astype(np.uint64)) * HASH_FACTOR
    # Which places are looked at depends on what stands there, so that both copies are.
    chosen = np.flatnonzero((hashed >> np.uint64(40)) & np.uint64(15) == 0)
    chosen = chosen[samples[chosen] != samples[chosen + 1]]
    order = chosen[np.argsort(hashed[chosen], kind="stable")]
    same = hashed[order[1:]] == hashed[order[:-1]]
    lags, places = (order[1:] - order[:-1])[same], order[1:][same]
    fits = (lags >= LEAST_LAG) & (lags <= LARGEST_LAG)
    return sorted(set(zip(lags[fits].tolist(), places[fits].tolist(), strict=True)), key=lambda row: row[1])


def _is_spliced(samples: Int32s, start: int, end: int) -> bool:
    """Return whether a piece is cut in: its surroundings predict neither its first sample nor the one behind it."""
    before = (
        samples[start - LONE_CONTEXT : start].astype(np.float64) if start >= LONE_CONTEXT else np.zeros(0)
    )
    if before.size == 0 or end + LONE_CONTEXT > samples.size:
        return False
    if np.mean(np.diff(samples[start:end]) != 0) < LEAST_CHANGING:
        return False
    behind = samples[end : end + LONE_CONTEXT].astype(np.float64)
    levels = [
        float(np.sqrt(np.mean(side[slice(*part)] ** 2)))
        for side, part in (
            (before, (-EDGE_SAMPLES, None)),
            (behind, (0, EDGE_SAMPLES)),
            (before, (0, None)),
            (behind, (0, None)),
        )
    ]
    if min(levels) < 0.2 * max(levels):
        return False
    errors = np.abs(
        prediction_errors(samples[start - LONE_CONTEXT : end + 4].astype(np.float64), fit_predictor(before))
    )
    usual = float(np.quantile(errors[PREDICTOR_ORDER:LONE_CONTEXT], 0.99)) + 1.0
    splices = errors[LONE_CONTEXT : LONE_CONTEXT + 4].max(), errors[-8:].max()
    return min(float(splice) for splice in splices) > SPLICE_RATIO * usual


def _thrown_in(samples: Int32s, bend: Int64s, step: int) -> list[tuple[str, Range]]:
    """Return clicks and bursts: far rougher than all around, the sound going on behind as it was."""
    whole = bend.size // ROUGH_SAMPLES
    if whole < 2 * ROUGH_REACH:
        return []
    rough = np.sqrt(
        np.mean(bend[: whole * ROUGH_SAMPLES].reshape(-1, ROUGH_SAMPLES).astype(np.float64) ** 2, axis=1)
    )
    beside = maximum_filter1d(rough, ROUGH_REACH)
    half = ROUGH_REACH // 2
    # The loudest of the windows that end two before each one, and of those that begin two behind it.
    before, behind = np.full(whole, np.inf), np.full(whole, np.inf)
    before[half + 2 :] = beside[: whole - half - 2]
    behind[: whole - half - 2] = beside[half + 2 :]
    sets_in = np.flatnonzero(rough > ROUGH_RATIO * (before + step))
    stops = np.flatnonzero(rough > ROUGH_RATIO * (behind + step))
    found: list[tuple[str, Range]] = []
    done = 0
    for window in sets_in:
        later = stops[(stops >= window) & (stops <= window + MOST_THROWN // ROUGH_SAMPLES)]
        if window < done or not later.size:
            continue
        done = int(later[-1]) + 2
        place = (int(window) - 1) * ROUGH_SAMPLES, (int(later[-1]) + 2) * ROUGH_SAMPLES
        kind = _kind_thrown_in(samples, place, step)
        if kind is not None:
            found.append(kind)
    return found


def _kind_thrown_in(samples: Int32s, place: Range, step: int) -> tuple[str, Range] | None:
    low, high = place
    if low < LONE_CONTEXT or high + LONE_CONTEXT > samples.size:
        return None
    piece = samples[low - LONE_CONTEXT : high + LONE_CONTEXT].astype(np.float64)
    before, behind = piece[:LONE_CONTEXT], piece[-LONE_CONTEXT:]
    levels = [float(np.sqrt(np.mean(side**2))) for side in (before, behind)]
    if min(levels) < max(LEAST_LEVEL_STEPS * step, 0.5 * max(levels)):
        return None
    predictor = fit_predictor(before)
    errors = prediction_errors(piece, predictor)
    usual = float(np.abs(errors[PREDICTOR_ORDER:LONE_CONTEXT]).max()) + step
    if float(np.abs(errors[-LONE_CONTEXT + PREDICTOR_ORDER :]).max()) > 2 * usual:
        return None
    odd = np.flatnonzero(np.abs(errors) > 4 * usual)
    if not odd.size:
        return None
    first, last = int(odd[0]), int(odd[-1]) + 1
    shift = low - LONE_CONTEXT
    if last - first < LEAST_BURST:
        length = _bridged(piece, first, predictor, 8 * usual)
        return ("click", (first + shift, first + shift + length)) if length else None
    return ("burst", (first + shift, last + shift)) if _is_flat_noise(piece[first:last]) else None


def _bridged(piece: Float64s, start: int, predictor: Float64s, allowed: float) -> int:
    """Return how many samples have to be predicted for the sound to go on as it was; 0 where none will do."""
    filled = piece[: start + MOST_CLICK + 2 * PREDICTOR_ORDER].copy()
    for length in range(1, MOST_CLICK + 1):
        at = start + length - 1
        filled[at] = filled[at - PREDICTOR_ORDER : at][::-1] @ predictor
        if np.abs(prediction_errors(filled, predictor)[start + length :]).max() < allowed:
            return length
    return 0


def _is_flat_noise(noise: Float64s) -> bool:
    """Return whether a piece is white and of one level from its first third to its last; a drum dies away."""
    # The predictor's memory reaches a little over the end.
    thirds = np.array_split(noise[: noise.size - PREDICTOR_ORDER], 3)
    powers = [float(np.mean(third**2)) for third in thirds]
    if max(powers) > FLAT_RATIO * min(powers):
        return False
    errors = prediction_errors(noise, fit_predictor(noise))[PREDICTOR_ORDER:-PREDICTOR_ORDER]
    return float(np.mean(errors**2)) > LEAST_WHITE * float(np.mean(powers))
