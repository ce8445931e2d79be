"""Two-level waves that are interrupted and go on behind in phase, as one capture shows them by itself.

A square or pulse wave holds its levels by nature, so that a level held in it, silence, or a block played twice looks
like a note, a rest or a note of another phase. But its edges stand on two straight lines, one for rising and one for
falling edges. Where edges behind an interruption stand to the sample on the lines of those before it, the wave has run
on underneath: a note that sets in anew begins anywhere in its period.

Audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import (
    KEY_SAMPLES,
    LEAST_EDGES,
    LEAST_LONG,
    LEAST_NOISE,
    LONGEST_BURST,
    MOST_CHANGING,
    MOST_CLICK,
    MOST_SPREAD,
    STEPPED_MOST_CHANCE,
)
from assembler.aligner.records.ranges import has_full_word, ranges_of
from assembler.aligner.sound.levels import is_straight
from assembler.aligner.sound.limits import LEAST_JUMP_STEPS, MOST_EDGES, PERIODS_SAMPLES
from assembler.arrays import distinct, median

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Int32s, Int64s


@dataclass(frozen=True)
class _Wave:
    """Edges that alternate between two levels at a steady pace.

    Args:
        edges: first sample of each level, in order.
        levels: the level that each edge begins; two values in turn.
    """

    edges: Int64s
    levels: Int32s

    def is_like(self, other: _Wave) -> bool:
        """Return whether both have the same two levels."""
        return set(self.levels[:2].tolist()) == set(other.levels[:2].tolist())

    def part(self, first: int, last: int) -> _Wave:
        """Return the edges from ``first`` to before ``last``."""
        return _Wave(self.edges[first:last], self.levels[first:last])


@dataclass(frozen=True)
class _Lines:
    """Where the edges of a wave stand: ``offsets[level] + k * period`` for whole numbers k."""

    offsets: dict[int, float]
    period: float
    spread: float


def interruptions(samples: Int32s, step: int) -> list[tuple[str, Range]]:
    """Return what interrupts two-level waves that go on behind in phase, as kind and range, in order.

    Args:
        samples: one track; what touches its ends is left to the neighbouring piece.
        step: one step of the tape's word length.
    """
    moves = samples[1:] != samples[:-1]
    if not LEAST_EDGES <= np.count_nonzero(moves) <= MOST_CHANGING * samples.size:
        return []
    edges = np.flatnonzero(moves) + 1
    waves = _waves(samples, edges, step)
    found: list[tuple[str, Range]] = []
    for first, second, lines in _pairs(waves):
        place = _differing(samples, lines, int(first.edges[-3]), int(second.edges[2]))
        kind = _kind(samples, place, second, step) if place else ""
        if place and kind:
            found.append((kind, place))
    return found


def long_levels(samples: Int32s, step: int) -> list[Range]:
    """Return levels other than zero that sound which holds levels holds for longer than any tone; as ``interruptions``.

    An oscillator that is stopped may hold its level too.
    """
    moves = samples[1:] != samples[:-1]
    if not has_full_word(~moves):
        return []
    edges = np.flatnonzero(moves) + 1
    lengths = np.diff(edges)
    found = []
    for number in np.flatnonzero((lengths >= LEAST_LONG) & (lengths <= LONGEST_BURST)):
        start, end = int(edges[number]), int(edges[number + 1])
        beside = samples[max(0, start - PERIODS_SAMPLES) : start], samples[end : end + PERIODS_SAMPLES]
        # A note may end while it is held, or begin.
        sounding = [side for side in beside if side.any()]
        if samples[start] and sounding and all(holds_levels(side, step) for side in sounding):
            found.append((start, end))
    return found


def holds_levels(samples: Int32s, step: int) -> bool:
    """Return whether sound hardly ever changes, and then by much; arguments as for ``interruptions``."""
    changes = np.abs(np.diff(samples.astype(np.int64)))
    changes = changes[changes > 0]
    few = 0 < changes.size <= MOST_CHANGING * samples.size
    return few and median(changes) >= LEAST_JUMP_STEPS * step


def _waves(samples: Int32s, edges: Int64s, step: int) -> list[_Wave]:
    levels = samples[edges]
    pace = edges[2:] - edges[:-2]
    goes_on = (levels[2:] == levels[:-2]) & (
        np.abs(levels[2:].astype(np.int64) - levels[1:-1]) >= LEAST_JUMP_STEPS * step
    )
    steady = goes_on[1:] & goes_on[:-1] & (np.abs(np.diff(pace)) <= 1)
    # The first of three paces compares edges that lie three before.
    places = [(first, last + 3) for first, last in ranges_of(steady) if last + 3 - first >= LEAST_EDGES]
    return [_Wave(edges[first:last], levels[first:last]) for first, last in places]


def _pairs(waves: list[_Wave]) -> Iterator[tuple[_Wave, _Wave, _Lines]]:
    """Return each wave with the nearest one behind it that goes on in phase, and the lines of both."""
    for number, first in enumerate(waves):
        for second in waves[number + 1 :]:
            if second.edges[0] - first.edges[-1] > LONGEST_BURST:
                break
            if second.edges[0] <= first.edges[-1] or not first.is_like(second):
                continue
            lines = _joint_lines(first, second)
            if lines:
                yield first, second, lines
                break


def _joint_lines(first: _Wave, second: _Wave) -> _Lines | None:
    """Return the lines on which the edges of two waves stand; None where they are not in phase.

    An edge at the border of what interrupts them may be its own, and so may the one that begins or ends a note.
    """
    for drop in (0, 1, 2):
        before = first.part(max(1, first.edges.size - drop - MOST_EDGES), first.edges.size - drop)
        behind = second.part(drop, min(second.edges.size - 1, drop + MOST_EDGES))
        if min(before.edges.size, behind.edges.size) < LEAST_EDGES - 1:
            break
        known, other = sorted((before, behind), key=lambda wave: -int(wave.edges[-1] - wave.edges[0]))
        lines = _lines([known.edges], [known.levels])
        gap, span = behind.edges[0] - before.edges[-1], known.edges[-1] - known.edges[0]
        doubt = 2.0 + 2.0 * float(gap) / float(span)
        if lines.spread > MOST_SPREAD or doubt > STEPPED_MOST_CHANCE * lines.period:
            continue
        joint = _lines([known.edges, other.edges], [known.levels, other.levels], lines)
        if joint.spread <= MOST_SPREAD:
            return joint
    return None


def _lines(edges: list[Int64s], levels: list[Int32s], known: _Lines | None = None) -> _Lines:
    """Return the lines that fit the edges of one wave, or of two where those of the first are known already."""
    origin = float(edges[0][0])
    of_levels = [int(level) for level in levels[0][:2]]
    counts, rows, times = [], [], []
    for number, (at, level) in enumerate(zip(edges, levels, strict=True)):
        for index, value in enumerate(of_levels):
            mine = at[level == value]
            first = 0
            if number and known:
                first = round((float(mine[0]) - known.offsets[value]) / known.period)
            counts.append(first + np.arange(mine.size))
            rows.append(np.full(mine.size, index))
            times.append(mine - origin)
    count, row, time = np.concatenate(counts), np.concatenate(rows), np.concatenate(times)
    matrix = np.column_stack((row == 0, row == 1, count)).astype(np.float64)
    solved, *_ = np.linalg.lstsq(matrix, time.astype(np.float64), rcond=None)
    errors = time - matrix @ solved
    offsets = {value: float(solved[index]) + origin for index, value in enumerate(of_levels)}
    return _Lines(offsets, float(solved[2]), float(errors.max() - errors.min()))


def _differing(samples: Int32s, lines: _Lines, low: int, high: int) -> Range | None:
    """Return from where to where samples differ from the wave that runs on; None where they never do."""
    expected, doubtful = _drawn(lines, low, high)
    odd = np.flatnonzero((samples[low:high] != expected) & ~doubtful)
    return (low + int(odd[0]), low + int(odd[-1]) + 1) if odd.size else None


def _drawn(lines: _Lines, low: int, high: int) -> tuple[Int32s, Bools]:
    """Return the samples of a wave from low to high, and where an edge may be a sample off."""
    marks: list[tuple[float, int]] = []
    for level, offset in lines.offsets.items():
        least = int((low - offset) // lines.period) - 1
        most = int((high - offset) // lines.period) + 2
        marks += [(offset + k * lines.period, level) for k in range(least, most + 1)]
    expected = np.zeros(high - low, np.int32)
    doubtful = np.zeros(high - low, np.bool_)
    for (time, level), (behind, _) in pairwise(sorted(marks)):
        at = round(time) - low
        expected[max(0, at) : max(0, round(behind) - low)] = level
        doubtful[max(0, at - 1) : max(0, at + 2)] = True
    return expected, doubtful


def _kind(samples: Int32s, place: Range, wave: _Wave, step: int) -> str:
    """Return what an interruption is; "" where it may be a note between two others."""
    start, end = place
    size = end - start
    values = distinct(samples[start:end])
    own = set(values.tolist()) <= set(wave.levels[:2].tolist())
    kind = ""
    if own and size < KEY_SAMPLES:
        pass
    elif size <= MOST_CLICK:
        kind = "click"
    elif values.size == 1:
        kind = "hold" if values[0] else "mute"
    elif size >= KEY_SAMPLES and _is_repeated(samples, place, int(wave.edges[2] - wave.edges[0])):
        kind = "repeat"
    elif own:
        pass
    elif is_straight(samples, start, end, step):
        kind = "straight"
    elif values.size >= LEAST_NOISE * size:
        kind = "burst"
    return kind


def _is_repeated(samples: Int32s, place: Range, period: int) -> bool:
    """Return whether what stands right before a place stands in it once more.

    Where the block begins or ends on the wave's own level its border is not seen, for half a period at most.
    """
    start, end = place
    lags = range(end - start, min(start, end - start + period) + 1)
    return any(np.array_equal(samples[start:end], samples[start - lag : end - lag]) for lag in lags)
