"""Places of one pass found in another one: the anchors on which everything else rests.

An anchor is a stretch of the *probe* pass, all tracks of it, that is identical at some shift in the *reference* pass.
Anchors stand all over an overlap. Positions are samples of the two passes themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from assembler.aligner.place.limits import ANCHOR_SAMPLES, LEAST_ANCHORS, LEAST_EVIDENCE, SEARCH_SAMPLES
from assembler.aligner.place.matching import find_match, identity_at, informative
from assembler.aligner.records.passes import packed_from

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.records.passes import Packed, TrackReader
    from assembler.arrays import Int32s

Place = TypeVar("Place")


@dataclass(frozen=True)
class Anchor:
    """One place of the probe pass that was found in the reference pass.

    Args:
        at: first probe sample.
        shift: reference sample less probe sample.
        identical: share of its informative samples that are identical.
        evidence: how many of them are.
        samples: its length.
    """

    at: int
    shift: int
    identical: float
    evidence: int
    samples: int = ANCHOR_SAMPLES

    @property
    def end(self) -> int:
        """First probe sample after it."""
        return self.at + self.samples


def anchor_positions(start: int, end: int) -> list[int]:
    """Return where anchors stand in the probe range ``start`` to ``end``, evenly, first and last at its ends."""
    room = end - start - ANCHOR_SAMPLES
    if room < 0:
        return []
    wanted = max(LEAST_ANCHORS, room // SEARCH_SAMPLES + 1)
    steps = min(wanted, room // (ANCHOR_SAMPLES // 4) + 1)
    return [start + room * i // max(1, steps - 1) for i in range(steps)]


def spread(places: Sequence[Place], wanted: int) -> Sequence[Place]:
    """Return about so many of places, or somewhat more, spread evenly over all of them."""
    return places[:: max(1, len(places) // wanted)]


def read_all(reader: TrackReader, start: int, count: int) -> list[Int32s]:
    """Return the same samples of every track."""
    return [reader.read(track, start, count) for track in range(reader.tracks)]


def read_packed(reader: TrackReader, start: int, count: int) -> list[Packed] | None:
    """Return the same samples of every track as files have them; None where reading does more than unpacking."""
    found: list[Packed] = []
    for track in range(reader.tracks):
        packed = packed_from(reader, track, start, count)
        if packed is None:
            return None
        found.append(packed)
    return found


def find_anchors(
    reference: TrackReader,
    probe: TrackReader,
    expected: Callable[[int], int],
    overlap: tuple[int, int],
    radius: int,
) -> tuple[list[Anchor], int]:
    """Return the anchors of the probe that are found in the reference, and how many places were not silent."""
    found: list[Anchor] = []
    asked = missed = 0
    positions = anchor_positions(*overlap)
    for first, behind in zip(positions, [*positions[1:], overlap[1]], strict=True):
        place = _sounding(probe, first, behind)
        if place is None:
            continue
        at, samples, telling, packed = place
        asked += 1
        last_shift = found[-1].shift if found else None
        anchor = None
        if last_shift is not None:
            anchor = anchor_at(reference, samples, at, last_shift, telling, packed)
        if anchor is None:
            anchor = anchor_near(reference, samples, at, expected(at), radius, last_shift)
        if anchor is None and last_shift is not None and (missed or first == positions[-1]):
            anchor = anchor_near(reference, samples, at, last_shift, max(radius, SEARCH_SAMPLES), last_shift)
        missed = 0 if anchor else missed + 1
        if anchor is not None:
            found.append(anchor)
    return found, asked


def _sounding(
    probe: TrackReader, first: int, behind: int
) -> tuple[int, list[Int32s], int, list[Packed] | None] | None:
    """Return the first place for an anchor in a range that tells something; None in silence.

    Returns:
        The place, its samples, how many of them are informative, and the same samples as files have them.
    """
    for at in range(first, max(first + 1, behind - ANCHOR_SAMPLES + 1), ANCHOR_SAMPLES):
        packed = read_packed(probe, at, ANCHOR_SAMPLES)
        samples = [one.unpacked() for one in packed] if packed else read_all(probe, at, ANCHOR_SAMPLES)
        telling = sum(int(np.count_nonzero(informative(track))) for track in samples)
        if telling >= LEAST_EVIDENCE:
            return at, samples, telling, packed
    return None


def anchor_at(
    reference: TrackReader,
    samples: Sequence[Int32s],
    at: int,
    shift: int,
    telling: int = 0,
    packed: list[Packed] | None = None,
) -> Anchor | None:
    """Return the anchor at a shift.

    How many samples are ``telling`` need not be known; ``packed`` are they as files have them, where that is all there
    is to them.
    """
    count = samples[0].size
    if telling and packed and read_packed(reference, at + shift, count) == packed:
        return Anchor(at, shift, 1.0, telling)
    there = read_all(reference, at + shift, count)
    if telling and all(map(np.array_equal, there, samples)):
        return Anchor(at, shift, 1.0, telling)
    share, evidence = identity_at(there, samples, 0)
    if share < 0.5 or evidence < LEAST_EVIDENCE:
        return None
    return Anchor(at, shift, share, evidence, count)


def anchor_near(
    reference: TrackReader,
    samples: Sequence[Int32s],
    at: int,
    expected: int,
    radius: int,
    last_shift: int | None,
) -> Anchor | None:
    """Return the anchor within a radius of where it is expected, of several the nearest to the last one's shift."""
    start = at + expected - radius
    window = read_all(reference, start, samples[0].size + 2 * radius)
    nearest = expected if last_shift is None else last_shift
    match = find_match(window, samples, at + nearest - start)
    if match is None:
        return None
    return Anchor(at, start + match.shift - at, match.identical, match.evidence, samples[0].size)
