"""Looking for a pass where anchors found nothing: anywhere in another pass."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.place.agreement import belongs
from assembler.aligner.place.anchors import anchor_positions, read_all, spread
from assembler.aligner.place.limits import ANCHOR_SAMPLES, LEAST_VOTES, PLACES
from assembler.aligner.place.matching import count_votes, find_match, informative
from assembler.aligner.records.limits import LEAST_TELLING, READ_SAMPLES

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
