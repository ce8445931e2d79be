"""Looking for a pass where anchors found nothing: anywhere in another pass, or by mere likeness."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from assembler.aligner.place.agreement import belongs
from assembler.aligner.place.anchors import anchor_positions, read_all, spread
from assembler.aligner.place.limits import ANCHOR_SAMPLES, LEAST_ANCHORS, LEAST_VOTES, PLACES
from assembler.aligner.place.matching import count_votes, find_match, informative
from assembler.aligner.records.limits import LEAST_TELLING, NEARLY_ALL, READ_SAMPLES
from assembler.aligner.sound.chain.measures import find_delay, likeness
from assembler.aligner.sound.limits import PIECE_SAMPLES
from assembler.arrays import median

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.arrays import Int32s


def find_anywhere(reference: TrackReader, probe: TrackReader) -> int | None:
    """Return the shift of a pass found by its sound anywhere in another pass, or None.

    The loudest of a few probes is searched first; memory is bounded by a block, time by the length.
    """
    places = anchor_positions(0, probe.length)
    if not places:
        return None
    chosen = spread(places, PLACES)
    probes = [(at, read_all(probe, at, ANCHOR_SAMPLES)) for at in chosen]
    probes.sort(key=lambda row: -sum(int(informative(track).sum()) for track in row[1]))
    for at, samples in probes[:4]:
        sounding = [track for track, piece in enumerate(samples) if informative(piece).any()]
        for start in range(-ANCHOR_SAMPLES, reference.length, READ_SAMPLES):
            window = read_all(reference, start, READ_SAMPLES + ANCHOR_SAMPLES)
            if not _may_hold([window[t] for t in sounding], [samples[t] for t in sounding]):
                continue
            match = find_match(window, samples, 0)
            if match is None or match.identical <= 0.5:
                continue
            for there in (match.shift, *match.rivals):
                shift = start + there - at
                if belongs(reference, probe, [(place, shift) for place, _ in probes]):
                    return shift
    return None


def _may_hold(window: Sequence[Int32s], samples: Sequence[Int32s]) -> bool:
    """Return whether it is worth while to look for the samples here: a few of them are found at one shift."""
    if not samples:
        return False
    return int(count_votes(window, samples, LEAST_TELLING).max(initial=0)) >= LEAST_VOTES * LEAST_TELLING


class Alike(NamedTuple):
    """Where a pass runs along with another one.

    Args:
        shift: probe sample to reference sample.
        likeness: there, -1 to 1.
        level_db: of the probe over that of the reference.
    """

    shift: int
    likeness: float
    level_db: float


def find_alike(
    reference: TrackReader, probe: TrackReader, overlap: tuple[int, int], shift: int, radius: int
) -> Alike | None:
    """Return where a pass runs along with another one; None where it does not.

    A steady tone is like itself a period off, and one tune may come again: all tracks together tell the place.
    """
    found: dict[int, float] = {}
    size = min(PIECE_SAMPLES, overlap[1] - overlap[0])
    starts = [min(at, overlap[1] - size) for at in spread(anchor_positions(*overlap), PLACES)]
    places = [(start, track) for start in starts for track in range(probe.tracks)]
    for start, track in places:
        piece = probe.read(track, start, size)
        if piece.any():
            window = reference.read(track, start + shift - radius, size + 2 * radius)
            where, alike = find_delay(window, piece)
            if abs(alike) >= NEARLY_ALL:
                at = shift - radius + where
                found[at] = max(found.get(at, 0.0), abs(alike))
    likely = sorted(found, key=lambda at: -found[at])[:LEAST_ANCHORS]
    rated = [_typical(reference, probe, places, size, at) for at in likely]
    best = max(rated, key=lambda one: abs(one.likeness), default=None)
    return best if best and abs(best.likeness) >= NEARLY_ALL else None


def _typical(
    reference: TrackReader, probe: TrackReader, places: Sequence[tuple[int, int]], size: int, shift: int
) -> Alike:
    """Return what passes are to each other, at the middle one of the places (a sample and a track) where both sound."""
    pairs = (
        (probe.read(track, start, size), reference.read(track, start + shift, size))
        for start, track in places
    )
    sounding = [(a.astype(np.float64), b.astype(np.float64)) for a, b in pairs if a.any() and b.any()]
    if not sounding:
        return Alike(shift, 0.0, 0.0)
    levels = [10 * float(np.log10(np.dot(a, a) / np.dot(b, b))) for a, b in sounding]
    return Alike(shift, median([likeness(*pair) for pair in sounding]), median(levels))
