"""Places of one pass found in another one: the anchors on which everything else rests.

An anchor is a stretch of the *probe* pass, all tracks of it, that is identical at some shift in the *reference* pass.
Anchors stand all over an overlap. Positions are samples of the two passes themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from assembler.aligner.place.limits import (
    ANCHOR_SAMPLES,
    ANCHOR_SPACING,
    LEAST_ANCHORS,
    LEAST_EVIDENCE,
    SHORT_SAMPLES,
)
from assembler.aligner.place.matching import find_match, identity_at, informative
from assembler.aligner.records.limits import NEARLY_ALL
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
    wanted = max(LEAST_ANCHORS, room // ANCHOR_SPACING + 1)
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
            anchor = _confirm(reference, samples, at, last_shift, telling, packed)
        if anchor is None:
            anchor = _search(reference, samples, at, expected(at), radius, last_shift)
        if anchor is None and last_shift is not None and (missed or first == positions[-1]):
            anchor = _search(reference, samples, at, last_shift, max(radius, ANCHOR_SPACING), last_shift)
        missed = 0 if anchor else missed + 1
        if anchor is not None:
            found.append(anchor)
    return found, asked


def find_closer(reference: TrackReader, probe: TrackReader, runs: Sequence[Sequence[Anchor]]) -> list[Anchor]:
    """Return short anchors, end to end, between runs whose shifts differ by more than a sample.

    Slips that lie closer to each other than anchors stand look like one, by as much as all of them.
    """
    found = []
    for before, behind in pairwise(runs):
        last, change = before[-1], behind[0].shift - before[-1].shift
        if not 1 < abs(change) <= ANCHOR_SPACING:
            continue
        for at in range(last.end, behind[0].at - SHORT_SAMPLES + 1, SHORT_SAMPLES):
            samples = read_all(probe, at, SHORT_SAMPLES)
            anchor = (
                _confirm(reference, samples, at, last.shift)
                or _confirm(reference, samples, at, behind[0].shift)
                or _search(reference, samples, at, last.shift + change // 2, abs(change), last.shift)
            )
            if anchor is not None:
                found.append(anchor)
    return found


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


def _confirm(
    reference: TrackReader,
    samples: Sequence[Int32s],
    at: int,
    shift: int,
    telling: int = 0,
    packed: list[Packed] | None = None,
) -> Anchor | None:
    """Return the anchor at a shift.

    Args:
        reference: the pass searched in.
        samples: of the probe.
        at: where they stand in it.
        shift: that is tried.
        telling: how many are informative, where that is known.
        packed: the same samples as files have them, where that is all there is to them.
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


def _search(
    reference: TrackReader,
    samples: Sequence[Int32s],
    at: int,
    expected: int,
    radius: int,
    last_shift: int | None,
) -> Anchor | None:
    start = at + expected - radius
    window = read_all(reference, start, samples[0].size + 2 * radius)
    nearest = expected if last_shift is None else last_shift
    match = find_match(window, samples, at + nearest - start)
    if match is None:
        return None
    return Anchor(at, start + match.shift - at, match.identical, match.evidence, samples[0].size)


def steady_runs(reference: TrackReader, probe: TrackReader, anchors: Sequence[Anchor]) -> list[list[Anchor]]:
    """Return runs of neighbouring anchors with one shift, less those that a chance or a repeat flaw explains.

    A lone anchor, or a few short ones, between others of one shift is not believed: a block that a machine repeated
    matches one block off. One at the end of the overlap, or between two shifts, is believed where its close
    surroundings agree.
    """
    runs = [
        list(run) for _, run in groupby(_reread(reference, probe, anchors), key=lambda anchor: anchor.shift)
    ]
    if len(runs) > 1:
        shifts = [None, *(run[0].shift for run in runs), None]
        kept = [
            run
            for run, before, behind in zip(runs, shifts, shifts[2:], strict=False)
            if run[-1].end - run[0].at > ANCHOR_SAMPLES
            or (
                before != behind
                and _is_steady(reference, probe, run[0], [s for s in (before, behind) if s is not None])
            )
        ]
        runs = kept or [max(runs, key=lambda run: run[0].evidence)]
    joined: list[list[Anchor]] = []
    for run in runs:
        if joined and joined[-1][-1].shift == run[0].shift:
            joined[-1].extend(run)
        else:
            joined.append(run)
    return joined


def _reread(reference: TrackReader, probe: TrackReader, anchors: Sequence[Anchor]) -> list[Anchor]:
    """Return anchors, those that are found in part only at the shift of a neighbouring run where more is identical.

    One may lie too far from timecode's place to be found, and music that repeats itself matches in part elsewhere.
    """
    runs = [list(run) for _, run in groupby(anchors, key=lambda anchor: anchor.shift)]
    found: list[Anchor] = []
    for number, run in enumerate(runs):
        shifts = [other[0].shift for other in runs[max(0, number - 1) : number + 2] if other is not run]
        for one in run:
            samples = read_all(probe, one.at, one.samples) if one.identical < NEARLY_ALL else []
            others = [_confirm(reference, samples, one.at, shift) for shift in shifts if samples]
            found.append(
                max((one, *(other for other in others if other)), key=lambda anchor: anchor.evidence)
            )
    return found


def _is_steady(reference: TrackReader, probe: TrackReader, anchor: Anchor, shifts: Sequence[int]) -> bool:
    """Return whether the audio beside an anchor, on either side, lies at its shift, and far less at its neighbours'.

    Where a pass lost every other sample, less than half of them are identical at any shift.
    """
    places = (anchor.at - anchor.samples, anchor.at + anchor.samples)
    for at in places:
        if 0 <= at <= probe.length - anchor.samples:
            samples = read_all(probe, at, anchor.samples)
            own, *others = (
                identity_at(read_all(reference, at + shift, anchor.samples), samples, 0)[1]
                for shift in (anchor.shift, *shifts)
            )
            if own >= max(LEAST_EVIDENCE, 2 * max(others)):
                return True
    return False
