"""A window of a pass that is being recorded, looked at by the aligner's own rules: alone, or beside finished passes.

Positions are samples of the pass; the place of a pass is its *shift*, timeline sample less pass sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.aligner.comparison import compare_reel
from assembler.aligner.place.limits import ANCHOR_SAMPLES, SEARCH_SECONDS
from assembler.aligner.place.relation import relate
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import Stretch, TimeMap

if TYPE_CHECKING:
    from collections.abc import Sequence
    from concurrent.futures import Executor

    from assembler.aligner.place.relation import Relation
    from assembler.aligner.records.passes import TrackReader

MOST_WITNESSES: Final = 2
"""Finished passes that a window is held against: two and itself can outvote each other."""

LEAST_COMMON: Final = 4 * ANCHOR_SAMPLES
"""Samples that a window and another pass have in common from which they are held against each other."""

LEAST_FOUND: Final = 0.6
"""Share of the places of a window that must be found again; else it is looked for further away."""


@dataclass(frozen=True)
class Witness:
    """A finished pass: its audio, and where it lies."""

    name: str
    audio: TrackReader
    time_map: TimeMap


@dataclass(frozen=True)
class Place:
    """Where a pass lies by what is known before a window is looked at.

    Args:
        shift: timeline sample less pass sample.
        doubt: samples that it may be off by.
        is_heard: whether the sound of another pass has proved it.
    """

    shift: int
    doubt: float
    is_heard: bool


@dataclass(frozen=True)
class Seen:
    """A flaw of one track in a window."""

    kind: str
    track: int
    start: int
    end: int


@dataclass(frozen=True)
class Examined:
    """What a window shows.

    Args:
        flaws: on single tracks, in order of track and place.
        slips: pass sample and samples lost (positive) or repeated.
        shift: of the last sample, as another pass shows it; None where none does.
    """

    flaws: tuple[Seen, ...]
    slips: tuple[tuple[int, int], ...] = ()
    shift: int | None = None


@dataclass(frozen=True)
class Scales:
    """What sample values and positions mean: rate in samples a second, the tape's step, the largest value."""

    sample_rate: int
    step: int
    full_scale: int


def examine(
    audio: TrackReader,
    window: tuple[int, int],
    tracks: Sequence[int],
    place: Place | None,
    witnesses: Sequence[Witness],
    scales: Scales,
    executor: Executor,
) -> Examined:
    """Return what a window of a pass shows.

    Args:
        audio: of the pass.
        window: from which sample to which.
        tracks: tape tracks to look at.
        place: of the pass; None where nothing tells it.
        witnesses: finished passes of its reel, most trusted first.
        scales: of the samples.
        executor: runs tracks side by side.
    """
    stretches = [Stretch(*window, window[0] + (place.shift if place is not None else 0))]
    beside: list[Witness] = []
    related = False
    for witness in witnesses if place is not None else ():
        shift = stretches[-1].shift
        found = _relate(audio, window, place, witness, scales.sample_rate) if place is not None else None
        if found is not None and not related:
            stretches, related = _stretches(found, window, witness.time_map, shift), True
            beside.append(witness)
        elif found is not None or (place is not None and place.is_heard):
            beside.append(witness)
    beside = beside[:MOST_WITNESSES] if related or (place is not None and place.is_heard) else []
    own = TimeMap(tuple(stretches))
    placed = [
        *(_cut(witness, own.start, own.end) for witness in beside),
        PlacedPass("", audio, (own,) * audio.tracks),
    ]
    placed = [one for one in placed if one.maps[0].stretches]
    findings = compare_reel(placed, tracks, scales.step, scales.full_scale, executor, lambda _: None)
    if findings.unlike:
        # Its chain changes every number: it has only itself to tell of it.
        findings = compare_reel(placed[-1:], tracks, scales.step, scales.full_scale, executor, lambda _: None)
    flaws = [
        Seen(flaw.kind, flaw.track, *reach)
        for flaw in findings.flaws
        if flaw.pass_name == "" and (reach := own.pass_reach(flaw.start, flaw.end)) is not None
    ]
    slips = tuple((slip.pass_sample, slip.samples) for slip in own.slips())
    return Examined(tuple(flaws), slips, own.stretches[-1].shift if related else None)


def _cut(witness: Witness, start: int, end: int) -> PlacedPass:
    inside = TimeMap(witness.time_map.covering(start, end))
    return PlacedPass(witness.name, witness.audio, (inside,) * witness.audio.tracks)


def _relate(
    audio: TrackReader, window: tuple[int, int], place: Place, witness: Witness, sample_rate: int
) -> Relation | None:
    """Return how a window lies against another pass, or None where nothing proves a place."""
    held = witness.time_map.covering(window[0] + place.shift, window[1] + place.shift)
    if not held or held[-1].timeline_end - held[0].timeline_start < LEAST_COMMON:
        return None
    overlap = held[0].timeline_start - place.shift, held[-1].timeline_end - place.shift

    def expected(at: int) -> int:
        before = [one for one in held if one.timeline_start <= at + place.shift]
        return place.shift - (before[-1] if before else held[0]).shift

    best: Relation | None = None
    for seconds in SEARCH_SECONDS:
        radius = round(seconds * sample_rate + place.doubt)
        found = relate(witness.audio, audio, expected, overlap, radius)
        if found is not None and (best is None or found.anchors > best.anchors):
            best = found
        if best is not None and best.anchors >= LEAST_FOUND * best.asked:
            break
    return best


def _stretches(relation: Relation, window: tuple[int, int], other: TimeMap, shift: int) -> list[Stretch]:
    """Return where a window lies on the timeline by another pass; a slip that is the other pass's is none of its."""
    found: list[Stretch] = []
    for one in relation.stretches:
        middle = (one.start + one.end) // 2 + one.shift
        held = [s.shift for s in other.stretches if s.pass_start <= middle]
        at = one.shift + (held[-1] if held else other.stretches[0].shift)
        if found and (found[-1].shift == at or one.slipped == "reference"):
            last = found[-1]
            found[-1] = Stretch(last.pass_start, one.end, last.timeline_start)
        else:
            found.append(Stretch(one.start, one.end, one.start + at))
    if not found:
        return [Stretch(*window, window[0] + shift)]
    first = found[0]
    found[0] = Stretch(window[0], first.pass_end, window[0] + first.shift)
    found[-1] = Stretch(found[-1].pass_start, window[1], found[-1].timeline_start)
    return found


def levels_of(audio: TrackReader, start: int, end: int, full_scale: int) -> list[float | None]:
    """Return the peak of each track in decibels of full scale; None where it holds nothing but zeros."""
    peaks = []
    for track in range(audio.tracks):
        samples = audio.read(track, start, end - start)
        largest = max(int(samples.max(initial=0)), -int(samples.min(initial=0)))
        peaks.append(round(20.0 * float(np.log10(largest / (full_scale + 1))), 1) if largest else None)
    return peaks


def alike_tracks(audio: TrackReader, start: int, end: int) -> frozenset[tuple[int, int]]:
    """Return pairs of tracks that sound and hold the same numbers."""
    heard: dict[bytes, int] = {}
    pairs = set()
    for track in range(audio.tracks):
        samples = audio.read(track, start, end - start)
        if np.any(samples[1:] != samples[:-1]):
            first = heard.setdefault(samples.tobytes(), track)
            if first != track:
                pairs.add((first, track))
    return frozenset(pairs)
