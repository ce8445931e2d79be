"""Two-level waves that are interrupted and go on behind in phase, as one capture shows them by itself.

A square or pulse wave holds its levels by nature, so that a level held in it, silence, or a block played twice looks
like a note, a rest or a note of another phase. But its edges stand on two straight lines, one for rising and one for
falling edges. Where edges behind an interruption stand to the sample on the lines of those before it, the wave has run
on underneath: a note that sets in anew begins anywhere in its period.

Audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import LEAST_EDGES, LONE_EDGE_ERROR, LONGEST_BURST
from assembler.aligner.records.limits import CHANCE_SAMPLES, FEW, HALF, LEAST_TELLING
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.levels import is_straight
from assembler.aligner.sound.limits import LEAST_JUMP_STEPS, MOST_EDGES
from assembler.aligner.sound.two_levels.pulse import Edges, Pulse, fit_pulse, joint_pulse, period_numbers
from assembler.arrays import distinct, median

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s, Int64s


def interruptions(samples: Int32s, step: int) -> list[tuple[str, Range]]:
    """Return what interrupts two-level waves that go on behind in phase, as kind and range, in order."""
    moves = samples[1:] != samples[:-1]
    if not LEAST_EDGES <= np.count_nonzero(moves) <= FEW * samples.size:
        return []
    edges = np.flatnonzero(moves) + 1
    waves = _waves(samples, edges, step)
    found: list[tuple[str, Range]] = []
    for first, second, pulse in _pairs(waves):
        low, high = int(first.positions[-3]), int(second.positions[2])
        odd = np.flatnonzero(pulse.errors(samples[low:high], low))
        place = (low + int(odd[0]), low + int(odd[-1]) + 1) if odd.size else None
        kind = _kind(samples, place, second, step) if place else ""
        if place and kind:
            found.append((kind, place))
    return found


def holds_levels(samples: Int32s, step: int) -> bool:
    """Return whether sound hardly ever changes, and then by much."""
    changes = np.abs(np.diff(samples.astype(np.int64)))
    changes = changes[changes > 0]
    few = 0 < changes.size <= FEW * samples.size
    return few and median(changes) >= LEAST_JUMP_STEPS * step


def _waves(samples: Int32s, edges: Int64s, step: int) -> list[Edges]:
    """Return the edges that alternate between two levels at a steady pace, wave by wave."""
    levels = samples[edges]
    pace = edges[2:] - edges[:-2]
    goes_on = (levels[2:] == levels[:-2]) & (
        np.abs(levels[2:].astype(np.int64) - levels[1:-1]) >= LEAST_JUMP_STEPS * step
    )
    steady = goes_on[1:] & goes_on[:-1] & (np.abs(np.diff(pace)) <= 1)
    # The first of three paces compares edges that lie three before.
    places = [(first, last + 3) for first, last in ranges_of(steady) if last + 3 - first >= LEAST_EDGES]
    both = [sorted(levels[first : first + 2].tolist()) for first, _ in places]
    return [
        Edges(edges[first:last], levels[first:last] == high, (low, high))
        for (first, last), (low, high) in zip(places, both, strict=True)
    ]


def _pairs(waves: list[Edges]) -> Iterator[tuple[Edges, Edges, Pulse]]:
    """Return each wave with the nearest one behind it that goes on in phase, and both as one."""
    for number, first in enumerate(waves):
        for second in waves[number + 1 :]:
            gap = second.positions[0] - first.positions[-1]
            if gap > LONGEST_BURST:
                break
            pulse = _joint(first, second) if gap > 0 and first.levels == second.levels else None
            if pulse is not None:
                yield first, second, pulse
                break


def _joint(first: Edges, second: Edges) -> Pulse | None:
    """Return two waves as one that has run on; None where they are not in phase.

    An edge at the border of what interrupts them may be its own, and so may the one that begins or ends a note.
    """
    for drop in (0, 1, 2):
        size = first.positions.size - drop
        before = first.part(max(1, size - MOST_EDGES), size)
        behind = second.part(drop, min(second.positions.size - 1, drop + MOST_EDGES))
        if min(before.positions.size, behind.positions.size) < LEAST_EDGES - 1:
            break
        known = max(before, behind, key=lambda wave: int(wave.positions[-1] - wave.positions[0]))
        fitted = fit_pulse(known, period_numbers(known), LONE_EDGE_ERROR)
        gap, span = behind.positions[0] - before.positions[-1], known.positions[-1] - known.positions[0]
        # A note that sets in anywhere would be in phase by chance too often.
        doubt = 2.0 + 2.0 * float(gap) / float(span)
        if fitted is None or doubt > FEW * fitted.period:
            continue
        alike = behind.positions[np.flatnonzero(behind.is_rise == before.is_rise[0])[0]]
        count = round(float(alike - before.positions[0]) / fitted.period)
        joint = joint_pulse(before, behind, count, LONE_EDGE_ERROR)
        if joint is not None:
            return joint
    return None


def _kind(samples: Int32s, place: Range, wave: Edges, step: int) -> str:
    """Return what an interruption is; "" where it may be a note between two others."""
    start, end = place
    size = end - start
    values = distinct(samples[start:end])
    own = set(values.tolist()) <= set(wave.levels)
    kind = ""
    if own and size < LEAST_TELLING:
        pass
    elif size <= CHANCE_SAMPLES:
        kind = "click"
    elif values.size == 1:
        kind = "hold" if values[0] else "mute"
    elif size >= LEAST_TELLING and _is_repeated(samples, place, int(wave.positions[2] - wave.positions[0])):
        kind = "repeat"
    elif own:
        pass
    elif is_straight(samples, start, end, step):
        kind = "straight"
    elif values.size >= HALF * size:
        kind = "burst"
    return kind


def _is_repeated(samples: Int32s, place: Range, period: int) -> bool:
    """Return whether what stands right before a place stands in it once more.

    Where the block begins or ends on the wave's own level its border is not seen, for half a period at most.
    """
    start, end = place
    lags = range(end - start, min(start, end - start + period) + 1)
    return any(np.array_equal(samples[start:end], samples[start - lag : end - lag]) for lag in lags)
