"""Straight lines in one version of a place, as a machine draws them over samples that it could not read.

Sound of low pitch runs nearly straight for a while too. A machine's line is told by its length, against what sound
around does, and often by being the line between two samples to the last rounding.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import LEAST_STRAIGHT, LINE_RATIO, LINE_SAMPLES
from assembler.aligner.flaws.structures.builds import Structure
from assembler.aligner.records.limits import (
    CHANCE_SAMPLES,
    LEAST_STEPS,
    LEAST_TELLING,
    NEAR_SAMPLES,
    SEARCHED_NATS,
)
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.limits import LEAST_RUN, MOST_ALIKE
from assembler.aligner.sound.surroundings import differing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s, Int32s, Int64s


def straight_lines(samples: Int32s, others: Sequence[Int32s], place: Range, step: int) -> list[Structure]:
    """Return what runs straight in a place: where sound hardly ever does, or for far longer than it does around."""
    low, high = max(0, place[0] - LEAST_STRAIGHT), min(samples.size, place[1] + LEAST_STRAIGHT)
    bend = np.abs(np.diff(samples[low:high].astype(np.int64), 2))
    rows = [(first + low, last + low + 2) for first, last in ranges_of(bend <= step)]
    lines = [_line_in(samples, row, step) for row in rows if row[1] - row[0] >= LEAST_STRAIGHT + 2]
    if not lines:
        return []
    around = np.concatenate((samples[:low], samples[high:])).astype(np.int64)
    sides = [samples[max(0, low - LINE_SAMPLES) : low].astype(np.int64)]
    sides.append(samples[high : high + LINE_SAMPLES].astype(np.int64))
    runs_on = (np.abs(np.diff(around, 2)) <= step) & (np.diff(around)[1:] != 0)
    by_chance = max(LEAST_STRAIGHT, SEARCHED_NATS / -np.log(min(float(np.mean(runs_on)), 0.999) + 1e-6))
    lines = [line for line in lines if line[1] - line[0] - 2 >= min(by_chance, LEAST_TELLING)]
    # Slow sound bends that little all the time, and keeps to a line for a while.
    # Longer than what rules out the longest line it need not be known, nor to the sample.
    enough = int(max((last - first for first, last in lines), default=0) / LINE_RATIO) + 2
    reaches = [_on_a_line(side, step, enough, 1 + enough // LEAST_TELLING) for side in sides if lines]
    natural = max((int(reach.max(initial=0)) for reach in reaches), default=0)
    if len(lines) >= MOST_ALIKE:
        # So many in one place are how the sound itself goes, as a wave does where it crosses zero.
        natural = max(natural, sorted(last - first for first, last in lines)[-2])
    found = []
    # But for what chance has alike between.
    runs = (
        ranges_of(differing([samples, *others], place), offset=place[0], bridge=CHANCE_SAMPLES)
        if lines
        else []
    )
    filled = np.array([place, *runs], np.int64)
    for first, last in lines:
        size = last - first - 2
        fills_place = (np.abs(filled - (first + 1, last - 1)) <= NEAR_SAMPLES).all(axis=1).any()
        if fills_place and not any(_is_line(other[first + 1 : last - 1], step) for other in others):
            # Sound hardly runs straight from where captures differ to where they agree again, unless all do.
            found.append(_drawn(samples, (first, last), step))
            continue
        climbs = abs(int(samples[last - 1]) - int(samples[first])) >= LEAST_STEPS * step
        # What sound seldom does by chance needs no further proof.
        if size >= LINE_RATIO * natural + (0 if size >= by_chance else LEAST_TELLING if climbs else size):
            found.append(_drawn(samples, (first, last), step))
    return found


def _line_in(samples: Int32s, row: Range, step: int) -> Range:
    """Return the longest line in a row of samples that bend little: all of it but its ends, or a part of it."""
    first, last = row
    if _is_line(samples[first + 1 : last - 1], step):
        return row
    if not np.ptp(samples[first:last]):
        # Most rows of sound that holds levels are one; each sample is on no line but a level.
        return first, first
    reach = _on_a_line(samples[first:last].astype(np.int64), step, LINE_SAMPLES)
    best = int(reach.argmax())
    return first + best, first + best + int(reach[best])


def _is_line(samples: Int32s, step: int) -> bool:
    """Return whether samples go straight from first to last, but for rounding: a slow wave leaves the line."""
    line = np.linspace(float(samples[0]), float(samples[-1]), samples.size)
    return bool(np.ptp(samples)) and float(np.abs(samples - line).max()) <= step


def _on_a_line(sound: Int64s, step: int, most: int, every: int = 1) -> Int64s:
    """Return for each sample how many from it on lie on one rounded line, at most ``most``; 0 for a level.

    It is asked of one sample in ``every``; of the others the answer is that of one sample alone.

    Rounding puts samples half a step to either side of the line, or all of them up to a step above it, or below.
    """
    anchors = sound.astype(np.float64)
    ways = [_within_half_a_step(anchors + way * step / 2, sound, step, most, every) for way in (-1, 0, 1)]
    return np.asarray(np.max(ways, axis=0), np.int64)


def _within_half_a_step(anchors: Float64s, sound: Int64s, step: int, most: int, every: int) -> Int64s:
    """Return for each sample how many from it on lie within half a step of one line through its anchor.

    The slopes that suit the samples so far are a range that shrinks with each.
    """
    size = sound.size
    low, high = np.full(size, -np.inf), np.full(size, np.inf)
    reach = np.ones(size, np.int64)
    on = np.arange(0, size, every)
    for distance in range(1, min(size, most)):
        on = on[: np.searchsorted(on, size - distance)]
        if distance == LEAST_RUN:
            on = on[sound[on + distance] != sound[on]]
        if not on.size:
            break
        rise = sound[on + distance] - anchors[on]
        low[on] = np.maximum(low[on], (rise - step / 2) / distance)
        high[on] = np.minimum(high[on], (rise + step / 2) / distance)
        on = on[low[on] <= high[on]]
        reach[on] = distance + 1
    return np.where(sound[np.arange(size) + reach - 1] != sound, reach, 0)


def _drawn(samples: Int32s, row: Range, step: int) -> Structure:
    """Return what runs straight as a structure; as exact where it is a line between two samples, rounded in one way."""
    first, last = row
    least = max(LEAST_STRAIGHT, last - first - 2 - LEAST_STRAIGHT)
    for before in range(max(0, first - LEAST_STRAIGHT), first + LEAST_STRAIGHT):
        for behind in range(min(samples.size, last + LEAST_STRAIGHT) - 1, last - LEAST_STRAIGHT, -1):
            if behind - before > least and _is_rounded_line(samples[before : behind + 1] // step):
                return Structure("straight", first + 1, last - 1, (before, behind), is_exact=True)
    return Structure("straight", first + 1, last - 1, (first, last - 1))


def _is_rounded_line(samples: Int32s) -> bool:
    # A level between two samples that lie a step off is none.
    if samples[-1] == samples[0] or not np.ptp(samples[1:-1]):
        return False
    line = np.linspace(float(samples[0]), float(samples[-1]), samples.size)
    middle = samples.size // 2
    if abs(line[middle] - samples[middle]) > 1:
        return False
    return any(np.array_equal(samples, rounded(line)) for rounded in (np.rint, np.floor, np.trunc))
