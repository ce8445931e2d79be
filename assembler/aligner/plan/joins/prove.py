"""Planned joins become joins with evidence: both sides are read and compared where they meet."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from assembler.aligner.place.limits import SEARCH_SAMPLES
from assembler.aligner.place.matching import informative
from assembler.aligner.plan.joins.fades import measured_correlation
from assembler.aligner.records.edit import CONSTANT_POWER, CUT, EDGE, IDENTICAL, SLIP, Join
from assembler.aligner.records.limits import BRIDGE_SAMPLES
from assembler.aligner.records.ranges import ranges_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.aligner.plan.path.choices import PlannedJoin
    from assembler.arrays import Int32s

    Side: TypeAlias = Callable[[int, int], Int32s]
    """Gives the samples of a timeline range of one track, from one pass."""


def prove_join(planned: PlannedJoin, outgoing: Side | None, incoming: Side | None) -> Join:
    """Return the join with its evidence; the place may move inside the planned room, positions stay timeline."""
    if outgoing is None or incoming is None:
        return Join(planned.at, 0, EDGE, 0.0, 0)
    low, high = planned.room
    if high <= low:
        return Join(planned.at, 0, SLIP if planned.outgoing == planned.incoming else CUT, 0.0, 0)
    start, end = _proof_range(planned)
    if np.array_equal(outgoing(start, end), incoming(start, end)):
        return Join(planned.at, 0, IDENTICAL, 1.0, 0)
    place = _identical_place(planned, outgoing, incoming) if planned.is_movable else None
    if place is not None:
        return Join(place, 0, IDENTICAL, 1.0, 0)
    return _computed(planned, outgoing, incoming)


def _proof_range(planned: PlannedJoin) -> tuple[int, int]:
    low, high = planned.room
    half = max(planned.fade, BRIDGE_SAMPLES) // 2
    return max(low, planned.at - half), min(high, planned.at + half)


def _identical_place(planned: PlannedJoin, outgoing: Side, incoming: Side) -> int | None:
    """Return the nearest place where the sides are identical for as long as a fade would take, or None."""
    low = max(planned.room[0], planned.at - SEARCH_SAMPLES)
    high = min(planned.room[1], planned.at + SEARCH_SAMPLES)
    before, behind = outgoing(low, high), incoming(low, high)
    wanted = max(planned.fade, BRIDGE_SAMPLES)
    places = []
    for start, end in ranges_of(before == behind):
        # Silence on both sides is identical too, and as good a place as any.
        is_proof = end - start >= wanted and (
            informative(before[start:end]).any() or not before[start:end].any()
        )
        if is_proof:
            places.append(min(max(planned.at - low, start + wanted // 2), end - wanted // 2) + low)
    return min(places, key=lambda place: abs(place - planned.at), default=None)


def _computed(planned: PlannedJoin, outgoing: Side, incoming: Side) -> Join:
    """Return a fade, or a cut where none is wished for, with how the sides differ there."""
    start = planned.at - planned.fade // 2
    start, end = (start, start + planned.fade) if planned.fade else _proof_range(planned)
    before, behind = outgoing(start, end), incoming(start, end)
    law = CONSTANT_POWER if planned.fade else CUT
    peak = int(np.abs(before.astype(np.int64) - behind).max())
    return Join(planned.at, planned.fade, law, measured_correlation(before, behind), peak)
