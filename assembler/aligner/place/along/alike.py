"""How a pass lies in another one that it is nowhere identical with, by mere likeness.

A steady tone is like itself a period off, and one tune may come again: all tracks together tell the place. How much of
one capture another one explains at a shift is told in nats: a whole sample off soft or low sound is nearly as like.
Positions are probe samples, a shift is reference sample less probe sample.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.along.borders import locate_change
from assembler.aligner.place.anchors import anchor_positions, spread
from assembler.aligner.place.limits import LEAST_ANCHORS, LEAST_NATS
from assembler.aligner.place.relation import Relation, stretches_between
from assembler.aligner.records.limits import NEARLY_ALL
from assembler.aligner.sound.chain.measures import find_delay, likeness
from assembler.aligner.sound.limits import PIECE_SAMPLES
from assembler.arrays import median

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s, Int64s


@dataclass(frozen=True)
class Alike:
    """How a pass runs along with another one.

    Args:
        relation: how it lies there.
        likeness: typically, -1 to 1.
        level_db: of the probe over that of the reference.
    """

    relation: Relation
    likeness: float
    level_db: float


def find_alike(
    reference: TrackReader, probe: TrackReader, overlap: Range, shift: int, radius: int
) -> Alike | None:
    """Return where a pass runs along with another one; None where it does not.

    Args:
        reference: pass that is searched.
        probe: pass that is looked for.
        overlap: its samples that may lie inside the other one.
        shift: that is expected.
        radius: how far around that to look, in samples.
    """
    size = min(PIECE_SAMPLES, overlap[1] - overlap[0])
    positions = anchor_positions(*overlap)
    chosen_places = [*spread(positions, LEAST_ANCHORS), *positions[-1:]]
    starts = sorted({min(at, overlap[1] - size) for at in chosen_places})
    shifts = _likely_shifts(reference, probe, starts, size, (shift - radius, shift + radius))
    if not shifts:
        return None
    told = np.array([[_explained(reference, probe, at, size, one) for one in shifts] for at in starts])
    way = _likeliest_way(told)
    chosen = [shifts[index] for index in way]
    typical, level = _typical(reference, probe, list(zip(starts, chosen, strict=True)), size)
    if abs(typical) < NEARLY_ALL:
        return None
    sure = [at for at, nats, index in zip(starts, told, way, strict=True) if nats[index] >= _nats(NEARLY_ALL)]
    proved = (sure[0], sure[-1] + size) if sure else (starts[0], starts[0] + size)
    steps = pairwise(zip(starts, chosen, strict=True))
    # One that runs along upside down is not used, wherever it slips.
    changes = [(one, next_one) for one, next_one in steps if one[1] != next_one[1]] if typical > 0 else []
    borders = [
        locate_change(reference, probe, (at, there + size), (before, behind), level)
        for (at, before), (there, behind) in changes
    ]
    held = [chosen[0], *(behind for _, (_, behind) in changes)]
    stretches = stretches_between(borders, held, overlap)
    return Alike(Relation(stretches, 0.0, len(starts), len(starts), proved), typical, level)


def _likely_shifts(
    reference: TrackReader, probe: TrackReader, starts: Sequence[int], size: int, within: Range
) -> list[int]:
    """Return shifts at which a track is alike somewhere, the likeliest of each place first; no more than are wanted."""
    found: dict[int, float] = {}
    for start in starts:
        for track in range(probe.tracks):
            piece = probe.read(track, start, size)
            if piece.any():
                window = reference.read(track, start + within[0], size + within[1] - within[0])
                where, alike = find_delay(window, piece)
                if abs(alike) >= NEARLY_ALL:
                    at = within[0] + where
                    found[at] = found.get(at, 0.0) + _nats(alike)
    return sorted(sorted(found, key=lambda at: -found[at])[:LEAST_ANCHORS])


def _explained(reference: TrackReader, probe: TrackReader, start: int, size: int, shift: int) -> float:
    """Return how much of a place the reference explains at a shift, all tracks together, in nats."""
    pairs = (
        (probe.read(track, start, size), reference.read(track, start + shift, size))
        for track in range(probe.tracks)
    )
    return sum(_nats(likeness(a.astype(np.float64), b.astype(np.float64))) for a, b in pairs)


def _nats(alike: float) -> float:
    """Return by how much a sample gets likelier by another one that it is so much like, in nats."""
    return -0.5 * math.log(max(1.0 - alike**2, float(np.finfo(np.float32).eps)))


def _likeliest_way(told: Float64s) -> list[int]:
    """Return which shift holds at each place: it changes only where that explains more by what is told, in nats.

    Args:
        told: how much each shift explains at each place, shape (places, shifts).
    """
    best = told[0]
    came: list[Int64s] = []
    for row in told[1:]:
        jump = int(np.argmax(best))
        stays = best >= best[jump] - LEAST_NATS
        came.append(np.where(stays, np.arange(best.size), jump))
        best = np.where(stays, best, best[jump] - LEAST_NATS) + row
    way = [int(np.argmax(best))]
    for before in reversed(came):
        way.append(int(before[way[-1]]))
    return way[::-1]


def _typical(
    reference: TrackReader, probe: TrackReader, places: Sequence[tuple[int, int]], size: int
) -> tuple[float, float]:
    """Return how alike passes are, and the probe's level in dB, at the middle one of what sounds in both."""
    pairs = (
        (probe.read(track, start, size), reference.read(track, start + shift, size))
        for start, shift in places
        for track in range(probe.tracks)
    )
    sounding = [(a.astype(np.float64), b.astype(np.float64)) for a, b in pairs if a.any() and b.any()]
    if not sounding:
        return 0.0, 0.0
    levels = [10 * float(np.log10(np.dot(a, a) / np.dot(b, b))) for a, b in sounding]
    return median([likeness(*pair) for pair in sounding]), median(levels)
