"""Where one shift of a pass that merely runs along ends and the next one begins.

At each sample one of the two leaves the smaller error: the border lies where the errors before it by the first shift,
and behind it by the second one, are the least together. Positions are probe samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.limits import DOUBTED_VOTES
from assembler.aligner.place.slips.borders import Border
from assembler.aligner.records.limits import NEARLY_ALL, READ_SAMPLES, WINDOW_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Float64s


def locate_change(
    reference: TrackReader, probe: TrackReader, between: Range, shifts: tuple[int, int], level_db: float
) -> Border:
    """Return the border between two shifts, reference sample less probe sample.

    Args:
        reference: the pass that the shifts lead to.
        probe: the pass in which the border lies.
        between: probe samples between which it does.
        shifts: before and behind it.
        level_db: of the probe over that of the reference.
    """
    missing = max(0, shifts[0] - shifts[1])
    last = max(between[0] + 1, between[1] - missing)

    def costs() -> Iterator[tuple[int, Float64s]]:
        running = 0.0
        for start in range(between[0], last, READ_SAMPLES):
            change = np.zeros(min(READ_SAMPLES, last - start))
            for track in range(probe.tracks):
                sides = ((start, shifts[0]), (start + missing, shifts[1]))
                errors = [
                    _errors(reference, probe, track, (at, change.size), by, level_db) for at, by in sides
                ]
                change += (errors[0] - errors[1]) * _tells(*errors)
            cost = running + np.concatenate(([0.0], np.cumsum(change)))
            running = float(cost[-1])
            yield start, cost

    # The sums are made again, not kept: between two places there may be minutes.
    least, at = min((float(cost.min()), start + int(cost.argmin())) for start, cost in costs())
    likely = [
        start + int(place)
        for start, cost in costs()
        for places in [np.flatnonzero(cost <= least + DOUBTED_VOTES)]
        for place in places[[0, -1] if places.size else []]
    ]
    return Border(at, at + missing, (likely[0], likely[-1] + missing))


def _errors(
    reference: TrackReader,
    probe: TrackReader,
    track: int,
    where: tuple[int, int],
    shift: int,
    level_db: float,
) -> Float64s:
    """Return for each sample how far it is from the reference's, as a share of how far other sound is."""
    import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

    start, count = where
    theirs = reference.read(track, start + shift, count) * 10 ** (level_db / 20)
    own = probe.read(track, start, count).astype(np.float64)
    usual = scipy.ndimage.uniform_filter1d(theirs**2 + own**2, 2 * WINDOW_SAMPLES + 1)
    return np.minimum((own - theirs) ** 2 / np.maximum(usual, 1.0), 1.0)


def _tells(first: Float64s, second: Float64s) -> Bools:
    """Return which samples lie in a stretch that one of two shifts explains: in noise of a chain's own neither does."""
    import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

    means = [scipy.ndimage.uniform_filter1d(errors, WINDOW_SAMPLES) for errors in (first, second)]
    return np.asarray(scipy.ndimage.maximum_filter1d(np.minimum(*means) <= 1 - NEARLY_ALL, WINDOW_SAMPLES))
