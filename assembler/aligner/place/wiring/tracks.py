"""Does a retake belong, track by track? Exchanged tracks and inverted polarity, found by identical samples.

A pass may be the right stretch of the right tape and still be wired wrongly: two tracks exchanged, one inverted.
Each track of the probe pass is held against every track of the reference, upright and inverted; as
everywhere, it is bit-identical samples that count.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.agreement import read_pair
from assembler.aligner.place.anchors import anchor_positions, read_all, spread
from assembler.aligner.place.limits import ANCHOR_SAMPLES, LEAST_EVIDENCE, PLACES
from assembler.aligner.place.matching import find_match
from assembler.aligner.records.limits import HALF

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from assembler.aligner.place.matching import Piece
    from assembler.aligner.records.passes import TrackReader
    from assembler.arrays import Int32s


@dataclass(frozen=True)
class TrackMatch:
    """What a probe track was found to be.

    Args:
        reference_track: the tape track of the reference that it is identical with.
        polarity: 1, or -1 where it is its exact opposite.
        share: of informative samples that are identical.
    """

    reference_track: int
    polarity: int
    share: float


@dataclass(frozen=True)
class Wiring:
    """How the tracks of a pass are wired, against another pass of the reel.

    Args:
        tracks: for each probe track what it was found to be; None where it is silent or matches nothing.
        silent: probe tracks that have no sound where they were looked at.
        unheard: tracks on which the reference has none there, so that nothing can be said of the probe's.
        places: probe sample and shift of the places looked at.
    """

    tracks: tuple[TrackMatch | None, ...]
    silent: frozenset[int]
    unheard: frozenset[int] = frozenset()
    places: tuple[tuple[int, int], ...] = ()

    @property
    def exchanged(self) -> tuple[int, ...]:
        """Probe tracks that hold another track of the tape."""
        return tuple(t for t, match in enumerate(self.tracks) if match and match.reference_track != t)

    @property
    def inverted(self) -> tuple[int, ...]:
        """Probe tracks in opposite polarity."""
        return tuple(t for t, match in enumerate(self.tracks) if match and match.polarity < 0)

    @property
    def strange(self) -> tuple[int, ...]:
        """Probe tracks with sound that is none of the reference's."""
        known = self.silent | self.unheard
        return tuple(t for t, match in enumerate(self.tracks) if match is None and t not in known)

    @property
    def is_straight(self) -> bool:
        """Whether every track is what it should be, as far as it has sound."""
        return not (self.exchanged or self.inverted or self.strange)

    def order(self) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
        """Return, for each tape track, the probe track that holds it and its polarity; None if two hold one.

        Silent tracks fill the places that are left, their own first.
        """
        holders = {match.reference_track: t for t, match in enumerate(self.tracks) if match}
        if len(holders) != sum(match is not None for match in self.tracks):
            return None
        left = [t for t in range(len(self.tracks)) if t not in holders.values()]
        for tape_track in range(len(self.tracks)):
            if tape_track not in holders:
                holders[tape_track] = left.pop(left.index(tape_track) if tape_track in left else 0)
        sources = tuple(holders[t] for t in range(len(self.tracks)))
        matches = [self.tracks[source] for source in sources]
        return sources, tuple(match.polarity if match else 1 for match in matches)


def find_wiring(reference: TrackReader, probe: TrackReader, places: Iterable[tuple[int, int]]) -> Wiring:
    """Return what each track of a pass is, at places whose shift is known."""
    listed = list(places)
    pairs = [
        [read_pair(reference, probe, track, *place) for place in listed] for track in range(probe.tracks)
    ]
    here, there = ([[pair[side] for pair in own] for own in pairs] for side in (0, 1))
    matches = [_best(own, there, track) for track, own in enumerate(here)]
    silent, unheard = (
        frozenset(t for t, own in enumerate(side) if sum(piece.changes for piece in own) < LEAST_EVIDENCE)
        for side in (here, there)
    )
    return Wiring(tuple(matches), silent, unheard, tuple(listed))


def search_wiring(
    reference: TrackReader,
    probe: TrackReader,
    overlap: tuple[int, int],
    expected: Callable[[int], int],
    radius: int,
) -> Wiring | None:
    """Return the wiring of a pass whose tracks match nothing as they are; None where nothing fits."""
    places = spread(anchor_positions(*overlap), PLACES)
    for at in places:
        start = at + expected(at) - radius
        windows = read_all(reference, start, ANCHOR_SAMPLES + 2 * radius)
        found = _found_in_any(windows, read_all(probe, at, ANCHOR_SAMPLES), radius)
        if found is None:
            continue
        wiring = find_wiring(reference, probe, [(place, start + found - at) for place in places])
        matched = sum(match is not None for match in wiring.tracks)
        if matched and matched >= len(wiring.strange):
            return wiring
    return None


def _best(own: Sequence[Piece], there: Sequence[Sequence[Piece]], track: int) -> TrackMatch | None:
    """Return what a track is, by its pieces and those of all tracks of the reference at the same places."""
    # Two tracks of a tape may hold the same sound: the track's own place is asked first. Zeros are their own
    # opposite, so that a wave that holds three levels is partly equal in both polarities.
    for asked in ([track], range(len(there))):
        found = [
            (other, polarity, *_held(own, there[other], polarity)) for other in asked for polarity in (1, -1)
        ]
        other, polarity, same, held = max(found, key=lambda one: one[2])
        if same >= LEAST_EVIDENCE:
            return TrackMatch(other, polarity, same / held)
    return None


def _held(own: Sequence[Piece], there: Sequence[Piece], polarity: int) -> tuple[int, int]:
    """Return how many informative samples are identical, and of how many, where most of a piece's are.

    Counted place by place: a burst at one place holds more informative samples than a sparse track at all others, and
    would outweigh them.
    """
    same = held = 0
    for piece, other in zip(own, there, strict=True):
        equal = piece.samples == (other.samples if polarity > 0 else -other.samples)
        # Zeros of a wave that comes and goes equal a track that rests, which proves nothing.
        count = int(np.count_nonzero(equal & piece.tells & other.tells))
        if count >= HALF * piece.changes:
            same, held = same + count, held + piece.changes
    return same, held


def _found_in_any(windows: Sequence[Int32s], tracks: Sequence[Int32s], radius: int) -> int | None:
    """Return where one of the tracks lies in one of the windows, upright or inverted."""
    for samples, window in product(tracks, windows):
        for version in (samples, np.negative(samples)):
            match = find_match([window], [version], radius)
            if match is not None and match.identical >= HALF:
                return match.shift
    return None
