"""Whose slip a change of shift is, by the sound alone: samples that one pass holds and the other one does not.

Either the one captured them twice, or the other one lost them. Captured twice they stand beside their copy, on every
track, to the sample; the tape's own sound does not, but where it repeats at just that distance: that is counted close
by. What is still, and tracks that do not match close to both borders, tell nothing.

Samples are ``int32``, shape ``(samples,)``, one array per track.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from assembler.aligner.place.limits import BESIDE_SAMPLES, FLAW_CHANCE, LEAST_HELD, LEAST_NATS, ONCE_SHARE
from assembler.aligner.place.matching import informative
from assembler.aligner.records.limits import FEW, HALF, LEAST_TELLING, READ_SAMPLES
from assembler.aligner.sound.limits import PERIODS_SAMPLES

if TYPE_CHECKING:
    from assembler.aligner.records.passes import TrackReader
    from assembler.arrays import Bools, Float64s, Int32s

Slipped = Literal["reference", "probe"]


def who_slipped(
    reference: TrackReader, probe: TrackReader, ends: tuple[int, int], shifts: tuple[int, int]
) -> Slipped | None:
    """Return whose slip a change of shift is, or None where the sound does not tell.

    Args:
        reference: the pass that shifts lead to.
        probe: the pass that they lead from.
        ends: the first and the last probe sample at which the first shift may end to hold.
        shifts: reference sample less probe sample, before and after it.
    """
    count = abs(shifts[1] - shifts[0])
    first, last = ends
    if not 0 < count <= READ_SAMPLES or last - first > BESIDE_SAMPLES:
        return None
    has_more: tuple[Slipped, TrackReader, int] = ("probe", probe, first)
    if shifts[1] > shifts[0]:
        has_more = "reference", reference, first + shifts[0]
    name, reader, start = has_more
    behind = last + max(0, shifts[0] - shifts[1])
    nats = np.zeros(last - first + 1)
    for track in range(probe.tracks):
        if _meets(reference, probe, track, first - BESIDE_SAMPLES, shifts[0]) and _meets(
            reference, probe, track, behind, shifts[1]
        ):
            nats += _nats_for_twice(reader, track, start, count, nats.size)
    most = float(nats.max())
    if most - np.log(nats.size) >= LEAST_NATS:
        return name
    if most > -LEAST_NATS:
        return None
    return "reference" if name == "probe" else "probe"


def _meets(reference: TrackReader, probe: TrackReader, track: int, start: int, shift: int) -> bool:
    """Return whether a track changes here, and is identical in both passes: as far as neither lost samples."""
    samples = probe.read(track, start, BESIDE_SAMPLES)
    there = reference.read(track, start + shift, BESIDE_SAMPLES)
    tells = informative(samples)
    telling, equal = (
        mask.reshape(-1, LEAST_TELLING).any(axis=1) for mask in (tells, tells & (samples == there))
    )
    return bool(np.count_nonzero(tells) >= FEW * BESIDE_SAMPLES and np.array_equal(telling, equal))


def _nats_for_twice(reader: TrackReader, track: int, start: int, count: int, places: int) -> Float64s:
    """Return how much likelier ``count`` samples are one copy of two than sound that stands once, at each place."""
    around = PERIODS_SAMPLES + 3 * count
    samples = reader.read(track, start - around, 2 * around + 2 * count + places)
    surplus = samples[around : around + count + places - 1]
    nothing = np.zeros(places)
    if not surplus.any() or (count >= LEAST_HELD and not np.ptp(surplus)):
        return nothing
    shares = _equal_shares(samples, count)
    # Of two copies the first may be left out, or the second.
    here = np.maximum(shares[around : around + places], shares[around - count : around - count + places])
    pairs = np.maximum(shares[count:], shares[:-count])
    elsewhere = np.concatenate((pairs[: PERIODS_SAMPLES // 2], pairs[-(PERIODS_SAMPLES // 2) :]))
    by_nature = (np.count_nonzero(elsewhere > HALF) + 1.0) / (elsewhere.size + 2.0)
    if by_nature > HALF:
        return nothing
    twice, once = np.log((1.0 - FLAW_CHANCE) / by_nature), np.log(FLAW_CHANCE / (1.0 - by_nature))
    return np.where(here > HALF, twice, np.where(here <= ONCE_SHARE, once, nothing))


def _equal_shares(samples: Int32s, count: int) -> Float64s:
    """Return for each place how many of the ``count`` samples from it on equal those that follow them."""
    equal: Bools = samples[count:] == samples[:-count]
    sums = np.concatenate(([0], np.cumsum(equal)))
    return np.asarray((sums[count:] - sums[:-count]) / count, dtype=np.float64)
