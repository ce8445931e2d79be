"""Whose slip a change of shift is, by the sound alone: samples that one pass holds and the other one does not.

Either the one captured them twice, or the other one lost them. Captured twice they stand beside their copy, on every
track, to the sample; the tape's own sound does not, but where it repeats at just that distance: that is counted close
by. What is still, and tracks that do not match close to both borders, tell nothing.

Samples are ``int32``, shape ``(samples,)``, one array per track.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from assembler.aligner.place.limits import FLAW_CHANCE, LEAST_HELD, LEAST_NATS, ONCE_SHARE
from assembler.aligner.place.matching import informative
from assembler.aligner.records.limits import (
    BRIDGE_SAMPLES,
    FEW,
    HALF,
    LEAST_TELLING,
    NEAR_SAMPLES,
    READ_SAMPLES,
)
from assembler.aligner.sound.limits import PERIODS_SAMPLES
from assembler.arrays import sums_around

if TYPE_CHECKING:
    from assembler.aligner.records.passes import TrackReader
    from assembler.arrays import Bools, Float64s

Slipped = Literal["reference", "probe"]


def who_slipped(
    reference: TrackReader, probe: TrackReader, ends: tuple[int, int], shifts: tuple[int, int]
) -> tuple[Slipped | None, int | None]:
    """Return whose slip a change of shift is and where, each None where the sound does not tell.

    ``ends`` are the first and the last probe sample at which the first shift may end to hold.

    Returns:
        Who, and the probe sample at which the first shift ends to hold if the first of two copies is left out.
    """
    count = abs(shifts[1] - shifts[0])
    first, last = ends
    if not 0 < count <= READ_SAMPLES or last - first > READ_SAMPLES:
        return None, None
    has_more: tuple[Slipped, TrackReader, int] = ("probe", probe, first)
    if shifts[1] > shifts[0]:
        has_more = "reference", reference, first + shifts[0]
    name, reader, start = has_more
    behind = last + max(0, shifts[0] - shifts[1])
    # Where so much is in doubt one of the passes is flawed: the other one's copies tell all the same.
    is_wide = last - first > BRIDGE_SAMPLES
    similar, exact = np.zeros(last - first + 1), np.zeros(last - first + 1)
    for track in range(probe.tracks):
        if is_wide or (
            _meets(reference, probe, track, first - BRIDGE_SAMPLES, shifts[0])
            and _meets(reference, probe, track, behind, shifts[1])
        ):
            found = _nats_for_twice(reader, track, start, count, similar.size)
            similar += found[0]
            exact += found[1]
    most, at = float(similar.max()), _outstanding(exact, first)
    if at is not None:
        return name, at
    if (is_wide and most < 0.0) or abs(most) < LEAST_NATS + np.log(similar.size):
        return None, None
    if most > 0.0:
        return name, None
    return "reference" if name == "probe" else "probe", None


def _outstanding(nats: Float64s, first: int) -> int | None:
    """Return the one place that is far likelier than all others; close by, a copy goes on by chance."""
    best = int(nats.argmax())
    rest = nats.copy()
    rest[max(0, best - NEAR_SAMPLES) : best + NEAR_SAMPLES + 1] = -np.inf
    is_clear = nats[best] - LEAST_NATS >= max(np.log(nats.size), float(rest.max()))
    return first + best if is_clear else None


def _meets(reference: TrackReader, probe: TrackReader, track: int, start: int, shift: int) -> bool:
    """Return whether a track changes here, and is identical in both passes: as far as neither lost samples."""
    samples = probe.read(track, start, BRIDGE_SAMPLES)
    there = reference.read(track, start + shift, BRIDGE_SAMPLES)
    tells = informative(samples)
    telling, equal = (
        mask.reshape(-1, LEAST_TELLING).any(axis=1) for mask in (tells, tells & (samples == there))
    )
    return bool(np.count_nonzero(tells) >= FEW * BRIDGE_SAMPLES and np.array_equal(telling, equal))


def _nats_for_twice(
    reader: TrackReader, track: int, start: int, count: int, places: int
) -> tuple[Float64s, Float64s]:
    """Return how much likelier ``count`` samples are one copy of two than sound that stands once, at each place.

    Returns:
        With copies that may be flawed, either of which may be left out; and with the first of two that are not.
    """
    around = PERIODS_SAMPLES + 3 * count
    samples = reader.read(track, start - around, 2 * around + 2 * count + places)
    surplus = samples[around : around + count + places - 1]
    tells = _shares(surplus != 0, count) > 0.0
    if count >= LEAST_HELD:
        tells &= _shares(informative(surplus)[1:], count - 1) > 0.0
    shares = _shares(samples[count:] == samples[:-count], count)
    first = shares[around : around + places]
    either = np.maximum(first, shares[around - count : around - count + places])
    pairs = np.maximum(shares[count:], shares[:-count])
    likelier = _likelier(either, pairs, HALF, round(HALF * (count - 1)))
    return tells * likelier, tells * _likelier(first, shares, 1.0 - HALF / count, 0)


def _likelier(here: Float64s, around: Float64s, least: float, reach: int) -> Float64s:
    """Return the nats of shares that are copies from ``least`` on, by how often there are such close by.

    What a machine can't read it may hold, on all tracks: where copies stand close together none of them tells; within
    a copy's ``reach`` its own parts do.
    """
    beside = np.concatenate((around[: PERIODS_SAMPLES // 2], around[-(PERIODS_SAMPLES // 2) :])) > least
    copies = here > least
    counted, wide = copies.astype(np.int64), reach + BRIDGE_SAMPLES
    others = sums_around(counted, wide, wide + 1) - sums_around(counted, reach, reach + 1)
    by_nature = np.maximum(
        (np.count_nonzero(beside) + 1.0) / (beside.size + 2.0), others / (2.0 * BRIDGE_SAMPLES)
    )
    tells = by_nature <= HALF
    by_nature = np.minimum(by_nature, HALF)
    twice, once = np.log((1.0 - FLAW_CHANCE) / by_nature), np.log(FLAW_CHANCE / (1.0 - by_nature))
    return np.where(copies, twice, np.where(here <= ONCE_SHARE, once, 0.0)) * tells


def _shares(mask: Bools, count: int) -> Float64s:
    """Return for each place which share of ``count`` values from it on are true."""
    sums = np.concatenate(([0], np.cumsum(mask)))
    return np.asarray((sums[count:] - sums[:-count]) / count, dtype=np.float64)
