"""How a pass is wired, at as many places as it takes to be sure.

The places are sought as timecode expects them, then wider; a track that seems a stranger is looked at again, all along.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.agreement import belongs, read_pair
from assembler.aligner.place.anchors import anchor_positions, read_all, spread
from assembler.aligner.place.limits import (
    ANCHOR_SAMPLES,
    FEW_SHARE,
    LEAST_EVIDENCE,
    MET_SHARE,
    MOST_LOOKS,
    PLACES,
)
from assembler.aligner.place.matching import find_match
from assembler.aligner.place.wiring.tracks import TrackMatch, Wiring, find_wiring, search_wiring
from assembler.aligner.records.limits import HALF, LEAST_WITNESSES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from assembler.aligner.records.passes import TrackReader


def examine_wiring(
    reference: TrackReader,
    probe: TrackReader,
    overlap: tuple[int, int],
    expected: Callable[[int], int],
    radii: Sequence[int],
    slack: float | None = math.inf,
) -> Wiring | None:
    """Return how a pass is wired, or None where its sound proves nothing (silence, another tape or another place).

    Radii are tried in order; ``slack`` is as for `belongs`.
    """
    chosen = spread(anchor_positions(*overlap), PLACES)
    best: list[tuple[int, int]] = []
    for radius in radii:
        places: list[tuple[int, int]] = []
        for at in chosen:
            if places and _is_same(reference, probe, at, places[-1][1]):
                places.append((at, places[-1][1]))
                continue
            start = at + expected(at) - radius
            window = read_all(reference, start, ANCHOR_SAMPLES + 2 * radius)
            match = find_match(window, read_all(probe, at, ANCHOR_SAMPLES), radius)
            if match is not None:
                places.append((at, start + match.shift - at))
        if belongs(reference, probe, places, expected, slack):
            best = max(best, places, key=len)
        # One or two may be found by chance, in a tail of few steps.
        if len(best) >= LEAST_WITNESSES:
            break
    if best:
        return _looked_at_closely(find_wiring(reference, probe, best), reference, probe, overlap)
    for radius in radii:
        found = search_wiring(reference, probe, overlap, expected, radius)
        if found is not None and belongs(reference, probe, found.places, expected, slack):
            return found
    return None


def _is_same(reference: TrackReader, probe: TrackReader, at: int, shift: int) -> bool:
    """Return whether all tracks are the same at a place that tells something."""
    pairs = [read_pair(reference, probe, track, at, shift) for track in range(probe.tracks)]
    return all(here is there for here, there in pairs) and sum(p.changes for p, _ in pairs) >= LEAST_EVIDENCE


def _looked_at_closely(
    wiring: Wiring, reference: TrackReader, probe: TrackReader, overlap: tuple[int, int]
) -> Wiring:
    """Return the wiring with every track that seems a stranger looked at again, all along the overlap.

    A track that sounds seldom may have been met in a flaw alone; one of other sound may have a note in common.
    """
    chosen = spread(anchor_positions(*overlap), MOST_LOOKS)
    looks = [(at, min(wiring.places, key=lambda place: abs(place[0] - at))[1]) for at in chosen]
    tracks, unheard = list(wiring.tracks), set(wiring.unheard)
    seldom = [track for track in range(probe.tracks) if _is_seldom(wiring, reference, probe, track)]
    for track in (*wiring.strange, *seldom):
        shares = list(_shares(reference, probe, track, looks))
        fitting = sum(share >= HALF for share in shares)
        if fitting and fitting >= FEW_SHARE * len(shares):
            tracks[track] = TrackMatch(track, 1, max(shares))
        elif len(shares) < LEAST_WITNESSES:
            unheard.add(track)
        else:
            tracks[track] = None
    return replace(wiring, tracks=tuple(tracks), unheard=frozenset(unheard))


def _is_seldom(wiring: Wiring, reference: TrackReader, probe: TrackReader, track: int) -> bool:
    """Return whether a track that was found in its place is so at few of the places where both passes sound."""
    match = wiring.tracks[track]
    if match is None or (match.reference_track, match.polarity) != (track, 1):
        return False
    shares = list(_shares(reference, probe, track, wiring.places))
    return sum(share >= HALF for share in shares) < MET_SHARE * len(shares)


def _shares(
    reference: TrackReader, probe: TrackReader, track: int, looks: Iterable[tuple[int, int]]
) -> Iterator[float]:
    """Yield the share of identical samples at each place where both passes have sound enough to tell."""
    for at, shift in looks:
        here, there = read_pair(reference, probe, track, at, shift)
        if min(here.changes, there.changes) >= LEAST_EVIDENCE:
            yield np.count_nonzero((here.samples == there.samples) & here.tells) / here.changes
