"""Do the tracks of a pass agree on a place? One track that repeats itself bit for bit ties a pass to many.

A drum machine, a sequencer's loop or a click track plays the same numbers again and again, in other songs too. Where
such a track is identical and most of the others hold other sound, the pass does not belong there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.anchors import spread
from assembler.aligner.place.limits import (
    ANCHOR_SAMPLES,
    LEAST_ANCHORS,
    LEAST_CHANGES,
    MET_SHARE,
    UNTOLD_RATIO,
)
from assembler.aligner.place.matching import Piece, identity_at
from assembler.aligner.records.limits import HALF, NEARLY_ALL
from assembler.aligner.records.passes import packed_from
from assembler.aligner.sound.chain.measures import likeness
from assembler.arrays import median

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.arrays import Int32s


@dataclass(frozen=True)
class Agreement:
    """What the tracks of a pass say to a place found for it.

    Args:
        same: tracks that are identical, also exchanged or inverted, or run along at another level.
        other: tracks that sound in both passes, and differently.
    """

    same: frozenset[int]
    other: frozenset[int]


def read_pair(
    reference: TrackReader, probe: TrackReader, track: int, at: int, shift: int
) -> tuple[Piece, Piece]:
    """Return what the probe has of a track at a place, and what the reference has there: one and the same if equal."""
    sides = (probe, at), (reference, at + shift)
    packed, other = (packed_from(reader, track, start, ANCHOR_SAMPLES) for reader, start in sides)
    if packed is not None and packed == other:
        piece = Piece(packed.unpacked())
        return piece, piece
    here, there = (Piece(reader.read(track, start, ANCHOR_SAMPLES)) for reader, start in sides)
    return here, here if np.array_equal(here.samples, there.samples) else there


def belongs(
    reference: TrackReader,
    probe: TrackReader,
    places: Sequence[tuple[int, int]],
    expected: Callable[[int], int] | None = None,
    slack: float | None = None,
) -> bool:
    """Return whether most tracks that sound in both passes agree that the probe belongs where it was found.

    Without a log that tells, ``slack`` is None: else how far from the expected shift a place contradicts none, in
    samples.
    """
    if not places:
        return False
    found = agreement(reference, probe, places)
    is_told = (
        expected is not None
        and slack is not None
        and median([abs(shift - expected(at)) for at, shift in places]) <= slack
    )
    return len(found.same) >= (1 if is_told else UNTOLD_RATIO) * len(found.other)


def agreement(reference: TrackReader, probe: TrackReader, places: Sequence[tuple[int, int]]) -> Agreement:
    """Return which tracks are the same in both passes and which are not, as far as they sound in both.

    Only places at which some track is identical are asked: elsewhere all of them may be flawed.
    """
    heard = np.zeros(probe.tracks, np.int64)
    met = np.zeros(probe.tracks, np.int64)
    along: list[list[float]] = [[] for _ in range(probe.tracks)]
    for at, shift in spread(places, LEAST_ANCHORS):
        pairs = [read_pair(reference, probe, track, at, shift) for track in range(probe.tracks)]
        here, there = ([pair[side].samples for pair in pairs] for side in (0, 1))
        sounding = [
            track for track, pair in enumerate(pairs) if min(p.changes for p in pair) >= LEAST_CHANGES
        ]
        same = [track for track in sounding if _is_found(here[track], there, track)]
        if not same:
            continue
        heard[sounding] += 1
        met[same] += 1
        for track in sounding:
            if track not in same:
                along[track].append(likeness(*(one[track].astype(np.float64) for one in (here, there))))
    asked = [track for track in range(probe.tracks) if heard[track]]
    belonging = {
        track
        for track in asked
        if met[track] >= MET_SHARE * heard[track] or median(along[track]) >= NEARLY_ALL
    }
    return Agreement(frozenset(belonging), frozenset(asked) - belonging)


def _is_found(samples: Int32s, there: Sequence[Int32s], own: int) -> bool:
    """Return whether a track of the probe is one of the reference's, upright or inverted; its own is asked first."""
    if samples is there[own]:
        return True
    order = [own, *(track for track in range(len(there)) if track != own)]
    versions = (samples, np.negative(samples))
    return any(
        identity_at([there[track]], [version], 0)[0] >= HALF for track in order for version in versions
    )
