"""Where one shift ends and the next one begins, to the sample.

A change of shift between two anchors is located where most samples speak for the first shift before it and for the
second one after it; in what that leaves open, a pass's own sound is asked. Positions are probe samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.anchors import read_all
from assembler.aligner.place.limits import DOUBTED_VOTES
from assembler.aligner.place.matching import informative, proving
from assembler.aligner.place.slips.splices import outstanding, splice_surprise
from assembler.aligner.place.slips.surplus import who_slipped
from assembler.aligner.records.limits import HALF, READ_SAMPLES
from assembler.aligner.sound.limits import FIT_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from assembler.aligner.place.slips.surplus import Slipped
    from assembler.aligner.records.passes import TrackReader
    from assembler.arrays import Float64s, Int64s


@dataclass(frozen=True)
class Border:
    """Where the first shift stops to explain the probe, where the second one begins to, and the doubt about it.

    Args:
        end: probe sample up to which the first shift holds.
        start: probe sample from which the second one holds.
        doubt: range of probe samples that may belong to either.
        slipped: whose slip it is by the sound; None where that does not tell.
    """

    end: int
    start: int
    doubt: tuple[int, int]
    slipped: Slipped | None = None


def locate_border(
    reference: TrackReader, probe: TrackReader, between: tuple[int, int], shifts: tuple[int, int]
) -> Border:
    """Return the border with the first shift before it and the second after it that most samples speak for.

    Where the shift falls, as many probe samples have no counterpart. They are left out of the count: quiet
    material is equal by chance so often that counting them would draw the border into them.

    Args:
        reference: the pass that the shifts lead to.
        probe: the pass in which the border lies.
        between: probe samples that belong to either side for certain begin before and end after this range.
        shifts: reference sample less probe sample, before and after the border.
    """
    missing = max(0, shifts[0] - shifts[1])
    last = max(between[0] + 1, between[1] - missing)
    blocks = [(start, min(READ_SAMPLES, last - start)) for start in range(between[0], last, READ_SAMPLES)]

    def gains(
        votes: Callable[[TrackReader, TrackReader, int, int, int], Int64s],
    ) -> Iterator[tuple[int, Int64s]]:
        running = 0
        for start, count in blocks:
            change = votes(reference, probe, start, count, shifts[0])
            change -= votes(reference, probe, start + missing, count, shifts[1])
            gain = running + np.concatenate(([0], np.cumsum(change)))
            running = int(gain[-1])
            yield start, gain

    # The sums are made again, not kept: between two anchors there may be an hour of silence.
    best = max(int(gain.max()) for _, gain in gains(_proving))
    likely = [
        (start + int(places[0]), start + int(places[-1]))
        for start, gain in gains(_proving)
        for places in [np.flatnonzero(gain >= best - DOUBTED_VOTES)]
        if places.size
    ]
    first, behind = likely[0][0], likely[-1][1]
    slipped, at = who_slipped(reference, probe, (first, behind), shifts)
    if at is not None:
        return Border(at, at + missing, (at, at + 2 * missing), slipped)
    at = _spliced_within(reference, probe, (first, behind), shifts)
    if at is not None:
        slipped = slipped or who_slipped(reference, probe, (at, at), shifts)[0]
        return Border(at, at + missing, (at, at + missing), slipped)
    at = _best_within(gains(_equal), first, behind)
    return Border(at, at + missing, (first, behind + missing), slipped)


def _spliced_within(
    reference: TrackReader, probe: TrackReader, likely: tuple[int, int], shifts: tuple[int, int]
) -> int | None:
    """Return which of the likely borders one of the passes is spliced at, by its sound; None where none stands out.

    The pass that lost samples is spliced where the shift changes. Where a pass repeated some it is spliced where the
    second copy begins; the first one is left out, where either may be.
    """
    first, behind = likely
    if not 0 < behind - first <= READ_SAMPLES:
        return None
    count, repeated = behind - first + 1, abs(shifts[1] - shifts[0])
    # By whose fault the shift changes is not known yet: one pass lost samples, or the other one repeated some.
    lost = reference, first + shifts[0], count
    again = probe, first, count + repeated
    if shifts[1] > shifts[0]:
        lost, again = (probe, first, count), (reference, first + shifts[0], count + repeated)
    surprises = [_surprise(*lost), _surprise(*again)]
    place = outstanding(np.concatenate(surprises))
    if place is None:
        return None
    if place < count:
        return first + place
    place -= count
    return first + (place - repeated if place >= repeated else place)


def _surprise(reader: TrackReader, start: int, count: int) -> Float64s:
    tracks = read_all(reader, start - FIT_SAMPLES, count + 2 * FIT_SAMPLES)
    return splice_surprise(tracks)[FIT_SAMPLES : FIT_SAMPLES + count]


def _best_within(gains: Iterable[tuple[int, Int64s]], first: int, last: int) -> int:
    """Return the earliest place from ``first`` to ``last`` with the greatest gain."""
    best: tuple[int, int] | None = None
    for start, gain in gains:
        inside = gain[max(0, first - start) : max(0, last - start + 1)]
        if inside.size:
            place = int(inside.argmax())
            if best is None or inside[place] > best[0]:
                best = int(inside[place]), max(first, start) + place
    return first if best is None else best[1]


def _equal(reference: TrackReader, probe: TrackReader, start: int, count: int, shift: int) -> Int64s:
    """Return for each probe sample how many tracks are identical there."""
    counts = np.zeros(count, np.int64)
    for track in range(probe.tracks):
        counts += probe.read(track, start, count) == reference.read(track, start + shift, count)
    return _less_chance(counts, probe.tracks)


def _proving(reference: TrackReader, probe: TrackReader, start: int, count: int, shift: int) -> Int64s:
    """Return for each probe sample how many tracks are identical there and tell something.

    What a mute, a held sample or silence is equal to by chance proves no place; see ``informative``.
    """
    counts, telling = np.zeros(count, np.int64), np.zeros(count, np.int64)
    before = 4  # so many may bear out that one proves a place
    for track in range(probe.tracks):
        samples = probe.read(track, start - before, count + before)
        equal = samples == reference.read(track, start - before + shift, count + before)
        tells = informative(samples)
        counts += proving(equal, tells)[before:]
        telling += tells[before:]
    return _less_chance(counts, telling)


def _less_chance(counts: Int64s, of: Int64s | int) -> Int64s:
    """Return counts of tracks that are equal, zero where they are few: quiet material is, by chance, anywhere."""
    return np.where(counts < HALF * of, 0, counts)
