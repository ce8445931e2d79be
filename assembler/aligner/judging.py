"""Which of several captures is right where they differ.

Two captures that agree bit for bit settle it. Where all differ, each version is looked at as a tape's sound:
does it hold one value, run along a straight line, repeat what came just before, or fit its surroundings worse
(or suspiciously better) than the others? What can't be told is said to be undecided; nothing is guessed
silently.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.detecting import (
    EDGE_SAMPLES,
    LEAST_RUN,
    MATERIAL_RUNS,
    PREDICTOR_ORDER,
    Run,
    constant_runs,
    constant_share,
    fit_predictor,
    is_straight,
    loud_edges,
    prediction_errors,
    repeated_from,
)
from assembler.aligner.ranges import ranges_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.ranges import Range
    from assembler.arrays import Bools, Float64s, Int32s

CONTEXT_SAMPLES = 1024
"""Samples on each side of a difference that the predictor is fitted to: 21 ms at 48 kHz."""

CLICK_SAMPLES = 48
"""Up to this length an excess of prediction error is called a click, above it a burst."""

DECIDED_DECADES = 0.5
"""Two versions whose misfit differs by less than this (5 dB) are not told apart."""

BAD_DECADES = 1.5
"""A version that is chosen as the less bad one is still called flawed from this misfit (15 dB) on, if it is noise."""

LEAST_WINDOW, LARGEST_WINDOW = 32, 256
"""Samples over which prediction errors are averaged, so that a stretch is held against others of like length."""

BRIDGE_SAMPLES = 64
"""Differences closer than this are one: inside a flaw, the wrong sample is now and then the right one."""

STRUCTURED_SHARE = 0.7
CONTINUED_SAMPLES = 64
STILL_SAMPLES = 128

LEAST_COLOURED = 256
COLOURED_SHARE, WHITE_SHARE = 0.1, 0.5
"""Share of its power that a stretch's own past leaves unpredicted: sound stays below, white noise above."""


@dataclass(frozen=True)
class Version:
    """How one capture's version of a stretch looks.

    Args:
        kind: flaw it shows: mute, hold, straight, repeat, click, burst; "" when nothing speaks against it.
        structured: whether the flaw is of the kind that no sound makes (mute, hold, straight, repeat).
        misfit: how far, in powers of ten, its prediction errors lie outside those of its surroundings.
    """

    kind: str
    structured: bool
    misfit: float


@dataclass(frozen=True)
class Verdict:
    """Which version is right.

    Args:
        right: index of the version to take.
        kinds: for each version its flaw; "" for the right one, unless it is only the least bad.
        decided: False where nothing tells the versions apart and the order of trust had to do.
    """

    right: int
    kinds: tuple[str, ...]
    decided: bool


@dataclass(frozen=True)
class Surroundings:
    """What predictions of good material around a stretch look like.

    Args:
        agreed: the samples that most captures hold, else the first one's.
        predictor: fitted to them.
        least: smallest mean square error of its windows.
        largest: largest one.
        is_coarse: whether neighbouring samples are mostly equal, so that levels held prove nothing.
    """

    agreed: Int32s
    predictor: Float64s
    least: float
    largest: float
    is_coarse: bool


def judge(
    versions: Sequence[Int32s],
    place: Range,
    difference: Range,
    stretch: Range,
    step: int,
    witnesses: Sequence[Int32s] = (),
) -> Verdict:
    """Return which of several differing versions of one stretch is right.

    Args:
        versions: one array per capture in the order of trust, all of one length, with the same context
            around the place.
        place: start and end of all that is seen together; the surroundings lie outside.
        difference: the difference in it that is looked at; its borders are those of a flaw.
        stretch: the part of the difference that is judged.
        step: one step of the tape's word length.
        witnesses: other captures of the same samples; heard on the surroundings only.
    """
    around = _surroundings([*versions, *witnesses], place, stretch[1] - stretch[0])
    looks = [look_at(samples, difference, stretch, step, around) for samples in versions]
    looks = _white_against_coloured(looks, versions, stretch)
    order = sorted(range(len(looks)), key=lambda i: (looks[i].structured, looks[i].misfit, i))
    best, second = looks[order[0]], looks[order[1]]
    if best.structured:
        # Nobody has it right: all are listed and the order of trust stands.
        return Verdict(0, tuple(look.kind for look in looks), decided=True)
    decided = second.structured or second.misfit - best.misfit >= DECIDED_DECADES
    right = order[0] if decided else 0
    kinds = [_name(look, decided=decided) for look in looks]
    if not (decided and best.misfit >= BAD_DECADES and _is_noise(versions[right], stretch, around)):
        kinds[right] = ""
    return Verdict(right, tuple(kinds), decided)


def look_at(samples: Int32s, difference: Range, stretch: Range, step: int, around: Surroundings) -> Version:
    """Return how a stretch of one capture looks in its surroundings.

    Args:
        samples: the stretch with context on both sides.
        difference: what it is a part of.
        stretch: its start and end in ``samples``.
        step: one step of the tape's word length.
        around: what its surroundings look like.
    """
    start, end = stretch
    errors = prediction_errors(samples.astype(np.float64), around.predictor)
    # An edge shows in the predictions that still reach over it, hence the samples behind the stretch.
    windows = _windowed(errors[start : min(end + PREDICTOR_ORDER, samples.size)], _window_of(end - start))
    inside = _windowed(errors[min(start + PREDICTOR_ORDER, end) : end], _window_of(end - start))
    floor = step * step / 12.0
    excess = _decades(float(np.quantile(windows, 0.9)) + floor, around.largest + floor)
    lack = _decades(around.least + floor, float(np.median(inside)) + floor) if inside.size else 0.0
    kind = _structure(samples, difference, stretch, step, around)
    misfit = max(excess, 0.0 if around.is_coarse else lack, 0.0)
    if kind:
        return Version(kind, structured=True, misfit=misfit)
    is_odd = misfit > DECIDED_DECADES and not around.is_coarse
    held = _held_run(samples, stretch) if is_odd else None
    if held is not None:
        # In quiet material a level has no loud edges to prove it by, but it is what is odd.
        kind = "hold" if held.value else "mute"
    elif excess > DECIDED_DECADES:
        kind = "click" if end - start <= CLICK_SAMPLES else "burst"
    return Version(kind, structured=False, misfit=misfit)


def parts_of(versions: Sequence[Int32s], place: Range) -> list[tuple[Range, Range]]:
    """Return the parts of a place that are judged one by one, each with the difference that it is a part of.

    Where the versions are the same there is nothing to judge. Flaws of two captures that overlap are one
    difference, but each part of it may have another right version: it is cut where a run of one value begins or
    ends in any of them.
    """
    start, end = place
    low, high = max(0, start - LEAST_RUN), end + LEAST_RUN
    differs = np.zeros(end - start, np.bool_)
    edges: set[int] = set()
    for samples in versions:
        differs |= samples[start:end] != versions[0][start:end]
        runs = constant_runs(samples[low:high])
        if len(runs) <= MATERIAL_RUNS:
            # A run begins with the last good sample where a capture held it.
            edges.update(edge + low for run in runs for edge in (run.start + 1, run.end))
    parts = []
    for first, last in ranges_of(differs, offset=start, bridge=BRIDGE_SAMPLES):
        inside = sorted({first, last, *(edge for edge in edges if first < edge < last)})
        parts += [((first, last), part) for part in pairwise(inside)]
    return parts


def _surroundings(versions: Sequence[Int32s], place: Range, length: int) -> Surroundings:
    """Return what the captures agree on around a place; windows in which other flaws lie are left out."""
    size = _window_of(length)
    agreed, is_agreed = _agreement(versions)
    sides = [
        (max(0, place[0] - CONTEXT_SAMPLES), place[0]),
        (place[1], min(agreed.size, place[1] + CONTEXT_SAMPLES)),
    ]
    sides = [side for side in sides if side[1] - side[0] > PREDICTOR_ORDER]
    longer = max(sides, key=lambda side: int(is_agreed[slice(*side)].sum()))
    predictor = fit_predictor(agreed[slice(*longer)].astype(np.float64))
    windows, trusted, equal = [], [], []
    for low, high in sides:
        errors = prediction_errors(agreed[low:high].astype(np.float64), predictor)[PREDICTOR_ORDER:]
        windows.append(_windowed(errors, size))
        doubts = (~is_agreed[low + PREDICTOR_ORDER : high]).astype(np.float64)
        trusted.append(_windowed(doubts, size) == 0.0)
        equal.append((np.diff(agreed[low:high]) == 0)[is_agreed[low + 1 : high]])
    powers, good = np.concatenate(windows), np.concatenate(trusted)
    chosen = powers[good] if good.any() else powers
    still = np.concatenate(equal)
    is_coarse = still.size > 0 and float(np.mean(still)) > STRUCTURED_SHARE
    return Surroundings(agreed, predictor, float(chosen.min()), float(chosen.max()), is_coarse)


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


def _window_of(length: int) -> int:
    return min(max(length + PREDICTOR_ORDER, LEAST_WINDOW), LARGEST_WINDOW)


def _windowed(errors: Float64s, size: int) -> Float64s:
    """Return the mean square of each whole window; of what there is, where there is less than one."""
    if errors.size < size:
        return np.array([np.mean(errors**2)]) if errors.size else np.zeros(0)
    whole = errors[: errors.size // size * size].reshape(-1, size)
    return np.asarray(np.mean(whole**2, axis=1), np.float64)


def _decades(power: float, against: float) -> float:
    return float(np.log10(power / against))


def _structure(samples: Int32s, difference: Range, stretch: Range, step: int, around: Surroundings) -> str:
    """Return the kind of flaw that the stretch shows by its build alone, or nothing."""
    if around.is_coarse:
        return ""
    start, end = stretch
    held = _held_run(samples, stretch)
    if held is not None and held.value == 0:
        return "mute" if _cuts_off(around.agreed, difference, stretch, step) else ""
    if held is not None:
        return "" if _is_still(samples, held) else "hold"
    if is_straight(samples, start, end, step):
        return "straight"
    lag = repeated_from(samples, start, end)
    if lag is not None and not _goes_on_repeating(samples, end, lag):
        return "repeat"
    return ""


def _held_run(samples: Int32s, stretch: Range) -> Run | None:
    """Return the run of one value that a stretch lies in, or is for the most part; None where it is neither."""
    start, end = stretch
    for run in constant_runs(samples):
        if run.start <= start and end <= run.end:
            return run
    if end - start >= 4:
        if constant_share(samples, start, end, zero=True) > STRUCTURED_SHARE:
            return Run(start, end, 0)
        if constant_share(samples, start, end, zero=False) > STRUCTURED_SHARE:
            return Run(start, end, int(samples[start]) or 1)
    return None


def _is_still(samples: Int32s, run: Run) -> bool:
    """Return whether a capture mostly holds levels beside a run too, as a tail of a few steps does."""
    beside = (
        samples[max(0, run.start - STILL_SAMPLES) : run.start],
        samples[run.end : run.end + STILL_SAMPLES],
    )
    steady = np.concatenate([np.diff(side) == 0 for side in beside])
    return steady.size > 0 and float(np.mean(steady)) > 0.5


def _cuts_off(agreed: Int32s, difference: Range, stretch: Range, step: int) -> bool:
    """Return whether zeros in a stretch cut sound off at a border of the difference; else they may be a rest.

    Where zeros go over into sound inside it, the sound may well set in by itself: the other capture's
    flaw only happens to lie over it.
    """
    before, behind = loud_edges(agreed, Run(*stretch, 0), step)
    # A run begins one sample behind the border where the last good sample was zero or was held.
    return (before and stretch[0] - difference[0] in (0, 1)) or (behind and stretch[1] == difference[1])


def _white_against_coloured(
    looks: Sequence[Version], versions: Sequence[Int32s], stretch: Range
) -> list[Version]:
    """Return the looks, those of noise bursts marked as no sound's where another version is sound.

    The onset of a note fits its surroundings as badly as noise does; but it can be predicted from itself.
    """
    if stretch[1] - stretch[0] < LEAST_COLOURED or any(look.structured for look in looks):
        return list(looks)
    white = [_unpredicted_share(samples[stretch[0] : stretch[1]]) for samples in versions]
    if not any(0.0 < share < COLOURED_SHARE for share in white):
        return list(looks)
    return [
        Version("burst", structured=True, misfit=look.misfit) if share > WHITE_SHARE else look
        for look, share in zip(looks, white, strict=True)
    ]


def _is_noise(samples: Int32s, stretch: Range, around: Surroundings) -> bool:
    """Return whether a stretch is noise that sets in and stops: a burst. The onset of a note does not stop."""
    start, end = stretch
    if end - start < LEAST_COLOURED or _unpredicted_share(samples[start:end]) <= WHITE_SHARE:
        return False
    errors = prediction_errors(samples.astype(np.float64), around.predictor) ** 2
    behind = end + PREDICTOR_ORDER
    first, last = (
        float(np.mean(errors[start : start + EDGE_SAMPLES])),
        float(np.mean(errors[end - EDGE_SAMPLES : end])),
    )
    before = float(np.mean(errors[start - LARGEST_WINDOW : start]))
    after = float(np.mean(errors[behind : behind + LARGEST_WINDOW]))
    return first > 10 * before + 1 and last > 10 * after + 1


def _unpredicted_share(samples: Int32s) -> float:
    """Return the share of a stretch's power that its own past does not predict; 0 where it is silent."""
    sound = samples.astype(np.float64)
    power = float(np.mean(sound**2))
    if power == 0.0:
        return 0.0
    errors = prediction_errors(sound, fit_predictor(sound))[PREDICTOR_ORDER:]
    return float(np.mean(errors**2)) / power


def _goes_on_repeating(samples: Int32s, end: int, lag: int) -> bool:
    """Return whether the sound behind a repeated block repeats too: it does so by nature, as a loop or a tone."""
    behind = samples[end : end + CONTINUED_SAMPLES]
    if behind.size == 0:
        return False
    return bool(np.mean(behind == samples[end - lag : end - lag + behind.size]) > 0.95)


def _name(look: Version, *, decided: bool) -> str:
    if look.kind:
        return look.kind
    return "burst" if decided and look.misfit > 0 else "disagreement"
