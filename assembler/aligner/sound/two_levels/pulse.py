"""A wave of two levels as numbers: its edges, and the one period and two phases that put them all in their places.

Pure: arrays in. Sound is ``int32``, shape ``(samples,)``; positions are samples of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.sound.limits import EDGE_ERROR, MOST_EDGES

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s, Int32s, Int64s


@dataclass(frozen=True)
class Pulse:
    """A wave of two levels.

    Args:
        levels: low and high.
        period: in samples.
        rise: one position of a rise.
        fall: one position of a fall.
    """

    levels: tuple[int, int]
    period: float
    rise: float
    fall: float

    def at(self, positions: Int64s) -> Int32s:
        """Return the wave's samples."""
        high = (self.fall - self.rise) % self.period
        phase = (positions - self.rise) % self.period
        return np.where(phase < high, self.levels[1], self.levels[0]).astype(np.int32)

    def errors(self, samples: Int32s, start: int) -> Float64s:
        """Return by how much samples, from ``start`` on, differ from the wave; its edges may stand one sample off."""
        wave = self.at(np.arange(start - 1, start + samples.size + 1)).astype(np.float64)
        near = np.stack([wave[:-2], wave[1:-1], wave[2:]])
        return np.asarray(np.abs(near - samples).min(axis=0), np.float64)


@dataclass(frozen=True)
class Edges:
    """The edges of a wave of two levels: the first sample behind each, whether it rises, and the levels."""

    positions: Int64s
    is_rise: Bools
    levels: tuple[int, int]

    def part(self, first: int, last: int) -> Edges:
        """Return the edges from the one numbered ``first`` to before ``last``."""
        return Edges(self.positions[first:last], self.is_rise[first:last], self.levels)

    def followed_by(self, other: Edges) -> Edges:
        """Return these edges and later ones of the same levels."""
        positions = np.concatenate((self.positions, other.positions))
        return Edges(positions, np.concatenate((self.is_rise, other.is_rise)), self.levels)


def first_note(sound: Int32s, offset: int) -> Edges | None:
    """Return the edges of the wave that sounds from the first sample on, as long as it has two levels."""
    changes = np.flatnonzero(np.diff(sound)) + 1
    changes = changes[:MOST_EDGES]
    if changes.size < 2:
        return None
    levels = sound[np.concatenate(([0], changes))]
    first, second = int(levels[0]), int(levels[1])
    usual = np.where(np.arange(levels.size) % 2 == 0, first, second)
    odd = np.flatnonzero(levels != usual)
    # The edge that leads to a third level ends the note.
    changes = changes[: int(odd[0]) - 1] if odd.size else changes
    rises = sound[changes] > sound[changes - 1]
    return Edges(changes + offset, rises, (min(first, second), max(first, second)))


def last_note(sound: Int32s, offset: int) -> Edges | None:
    """Return the edges of the wave that sounds up to the last sample."""
    found = first_note(sound[::-1], 0)
    if found is None:
        return None
    # Backwards in time an edge stands with the sample before it, and a rise is a fall.
    positions = sound.size - found.positions[::-1] + offset
    return Edges(positions, ~found.is_rise[::-1], found.levels)


def fit_pulse(edges: Edges, numbers: Int64s, most: float = EDGE_ERROR) -> Pulse | None:
    """Return the wave of edges: least squares over one period and the phases of rises and falls; None if none fits.

    ``numbers`` says which period each edge belongs to, ``most`` how many samples it may lie off.
    """
    if edges.positions.size < 3 or edges.is_rise.all() or not edges.is_rise.any():
        return None
    rises = edges.is_rise.astype(np.float64)
    table = np.stack([numbers.astype(np.float64), rises, 1.0 - rises], axis=1)
    solution, *_ = np.linalg.lstsq(table, edges.positions.astype(np.float64), rcond=None)
    if np.abs(table @ solution - edges.positions).max() > most:
        return None
    period, rise, fall = (float(value) for value in solution)
    return Pulse(edges.levels, period, rise, fall)


def period_numbers(edges: Edges) -> Int64s:
    """Return which period each edge of a note without a gap belongs to."""
    return np.asarray(np.cumsum(edges.is_rise == edges.is_rise[0]) - 1, np.int64)


def period_counts(before: Edges, behind: Edges, fitted: Pulse) -> list[int]:
    """Return how many periods may lie between the first edge before the place and the first alike one behind it."""
    alike = np.flatnonzero(behind.is_rise == before.is_rise[0])
    if not alike.size:
        return []
    first = int(behind.positions[alike[0]])
    gap = first - int(before.positions[0])
    own = float(before.positions[-1] - before.positions[0])
    doubt = 2.0 * EDGE_ERROR * gap / max(own, 1.0)
    low, high = (gap - doubt) / fitted.period, (gap + doubt) / fitted.period
    return list(range(int(np.ceil(low)), int(np.floor(high)) + 1))


def joint_pulse(before: Edges, behind: Edges, count: int, most: float = EDGE_ERROR) -> Pulse | None:
    """Return the wave of both sides with so many periods between them; None where it fits none of that length."""
    further = np.cumsum(behind.is_rise == before.is_rise[0]) - 1 + count
    numbers = np.concatenate((period_numbers(before), further))
    return fit_pulse(before.followed_by(behind), numbers, most)
