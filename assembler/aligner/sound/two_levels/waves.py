"""A pulse wave that goes on in phase: what it must be between two places where it is known.

A note of a synthesizer that holds two levels in turn rises after each period, and falls as long behind each rise. Where
sound before and behind a place is one such wave, with the same levels, period and phase, the place lies inside one
note, and the wave tells every sample there, give or take one at each edge.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import LEAST_TELLING, NEAR_SAMPLES
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.limits import (
    LEAST_EDGES_BEFORE,
    LEAST_EDGES_BEHIND,
    MOST_EDGES,
)
from assembler.aligner.sound.two_levels.pulse import (
    Edges,
    Pulse,
    first_note,
    fit_pulse,
    joint_pulse,
    last_note,
    period_counts,
    period_numbers,
)

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Int32s, Int64s


@dataclass(frozen=True)
class _Wave:
    """A wave from before a place: its last edge, and how long it is known up to there."""

    pulse: Pulse
    last: int
    span: int


def pulse_through(sound: Int32s, place: Range, known: Bools) -> Pulse | None:
    """Return the pulse wave that sounds before a place and behind it, if one does and goes on in phase.

    Args:
        sound: the place with its surroundings.
        place: what is not known.
        known: shape as ``sound``: where it is.
    """
    start, end = place
    low, high = _known_before(known, start), sound.size - _known_before(known[::-1], sound.size - end)
    before = last_note(sound[low:start], low)
    behind = first_note(sound[end:high], end)
    if before is None or behind is None or before.levels != behind.levels:
        return None
    if before.positions.size < LEAST_EDGES_BEFORE or behind.positions.size < LEAST_EDGES_BEHIND:
        return None
    fitted = fit_pulse(before, period_numbers(before))
    if fitted is None or fitted.period < LEAST_TELLING:
        return None
    found = [joint_pulse(before, behind, count) for count in period_counts(before, behind, fitted)]
    fits = [pulse for pulse in found if pulse is not None]
    return fits[0] if len(fits) == 1 else None


def pulse_from(sound: Int32s, place: Range, known: Bools) -> tuple[Pulse, int] | None:
    """Return the pulse wave that sounds before a place and goes on in phase, and how far it does; None if none does.

    Args:
        sound: one version of the place with its surroundings.
        place: in which it may be interrupted for a while, and ends.
        known: shape as ``sound``: where it is the tape's for certain.
    """
    wave = _wave_before(sound, place, known)
    return (wave.pulse, wave.last) if wave is not None and wave.last > place[0] else None


def lapse_of(sound: Int32s, place: Range, known: Bools) -> Range | None:
    """Return where a version leaves the wave that sounds before a place and comes back to it in phase; None if nowhere.

    Fewer edges do than for ``pulse_from``: a note that sets in anew is seldom in phase for as few as two.
    """
    wave = _wave_before(sound, place, known)
    if wave is None:
        return None
    foretold = _foretold(sound, wave.pulse, (place[0], min(place[1], wave.last + wave.span)))
    is_there = np.array([at is not None for _, at, _, _ in foretold], np.bool_)
    back = [low for low, high in ranges_of(is_there) if high - low >= LEAST_EDGES_BEHIND]
    left = np.flatnonzero(~is_there)
    if not left.size or not back or back[-1] < left[0]:
        return None
    returned = min(number for number in back if number > left[0])
    return round(foretold[int(left[0])][0]), round(foretold[returned][0])


def _wave_before(sound: Int32s, place: Range, known: Bools) -> _Wave | None:
    """Return the wave that sounds before a place, as far as a version goes on with it; as ``pulse_from``."""
    start, end = place
    low = _known_before(known, start)
    note = last_note(sound[low:start], low)
    if note is None or note.positions.size < LEAST_EDGES_BEFORE:
        return None
    numbers = period_numbers(note)
    pulse = fit_pulse(note, numbers)
    if pulse is None or pulse.period < LEAST_TELLING:
        return None
    last = int(note.positions[-1])
    while pulse.period >= LEAST_TELLING:
        span = last - int(note.positions[0])
        fresh, fresh_numbers = _going_on(sound, pulse, note, (last, min(end, last + span)))
        if not fresh.positions.size:
            break
        note = note.followed_by(fresh)
        numbers = np.concatenate((numbers, fresh_numbers))
        better = fit_pulse(note, numbers)
        if better is None or int(note.positions[-1]) <= last:
            break
        pulse, last = better, int(note.positions[-1])
    return _Wave(pulse, last, last - int(note.positions[0]))


def _known_before(known: Bools, place: int) -> int:
    """Return the sample from which on all are known up to a place."""
    unknown = np.flatnonzero(~known[:place])
    return int(unknown[-1]) + 1 if unknown.size else 0


def pulse_towards(sound: Int32s, place: Range, known: Bools) -> tuple[Pulse, int] | None:
    """Return the pulse wave that sounds behind a place, and from where in the place on it does; as ``pulse_from``."""
    size = sound.size
    found = pulse_from(sound[::-1], (size - place[1], size - place[0]), known[::-1])
    if found is None:
        return None
    pulse, last = found
    # Backwards in time a rise is a fall, and stands with the sample before it.
    return Pulse(pulse.levels, pulse.period, size - pulse.fall, size - pulse.rise), size - last


def stands_before(sound: Int32s, block: Range) -> bool:
    """Return whether a block stands a second time before itself, at least as far off as it is long: it may be a copy.

    Edges stand at whole samples, so that a wave whose period is none hardly ever repeats itself for long.
    """
    start, end = block
    piece = sound[start:end]
    edges = np.flatnonzero(np.diff(piece))[:MOST_EDGES]
    if not edges.size:
        return True
    lags = np.arange(piece.size, start + 1)
    for edge in edges:
        at = start + int(edge)
        lags = lags[(sound[at - lags] == sound[at]) & (sound[at + 1 - lags] == sound[at + 1])]
    return any(np.array_equal(piece, sound[start - lag : end - lag]) for lag in lags)


def are_edges_moved(first: Int32s, second: Int32s) -> bool:
    """Return whether versions differ in nothing but that edges between levels stand a sample or two earlier in one.

    Edges stand at whole samples: which of two waves they were rounded from is hardly told.

    Args:
        first: one version, with a sample on either side of what is looked at, shape (samples,).
        second: the other one, shape as ``first``.
    """
    return all(
        end - start <= NEAR_SAMPLES
        and start > 0
        and end < first.size
        and {int(first[start]), int(second[start])} == {int(first[start - 1]), int(first[end])}
        for start, end in ranges_of(first != second)
    )


def _going_on(sound: Int32s, pulse: Pulse, note: Edges, window: Range) -> tuple[Edges, Int64s]:
    """Return the edges in a window that stand where a wave foretells them, several in a row; and their numbers."""
    found = _foretold(sound, pulse, window)
    is_there = np.array([at is not None for _, at, _, _ in found], np.bool_)
    kept = [
        one
        for low, high in ranges_of(is_there)
        if high - low >= LEAST_EDGES_BEFORE
        for one in found[low:high]
    ]
    positions = np.array([at for _, at, _, _ in kept], np.int64)
    rises = np.array([is_rise for _, _, _, is_rise in kept], np.bool_)
    return Edges(positions, rises, note.levels), np.array([number for _, _, number, _ in kept], np.int64)


def _foretold(sound: Int32s, pulse: Pulse, window: Range) -> list[tuple[float, int | None, int, bool]]:
    """Return each edge that a wave foretells in a window: where, where it stands if it does, its number, its side."""
    rows = []
    for is_rise, phase in ((True, pulse.rise), (False, pulse.fall)):
        first = int(np.floor((window[0] - phase) / pulse.period)) + 1
        behind = int(np.floor((window[1] - phase) / pulse.period)) + 1
        rows += [(phase + number * pulse.period, number, is_rise) for number in range(first, behind)]
    return [
        (at, _edge_near(sound, at, pulse.levels if is_rise else pulse.levels[::-1]), number, is_rise)
        for at, number, is_rise in sorted(rows)
    ]


def _edge_near(sound: Int32s, at: float, levels: tuple[int, int]) -> int | None:
    """Return the sample near a position at which a wave goes from one level to the other; None where it does not."""
    middle = round(at)
    for place in sorted(
        range(middle - NEAR_SAMPLES, middle + NEAR_SAMPLES + 1), key=lambda one: abs(one - at)
    ):
        if 0 < place < sound.size and (sound[place - 1], sound[place]) == levels:
            return place
    return None
