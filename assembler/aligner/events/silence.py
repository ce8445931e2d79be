"""Noise on silent tracks: what sets in on several of them at one sample, and stops at one, is no sound.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

from assembler.aligner.events.limits import COINCIDENCE_SAMPLES, PLAYED_LEAST_TRACKS
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided
from assembler.aligner.records.ranges import merged, without

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.ranges import Range


def settle_noise_in_silence(
    flaws: Sequence[FoundFlaw], undecided: Sequence[Undecided]
) -> tuple[list[FoundFlaw], list[Undecided]]:
    """Return flaws and undecided places, those decided where several silent tracks show something at once.

    Whether a pass is silent because it was muted, nothing tells on one track. But sound does not set in on several
    tracks at one sample, out of silence, and stop at one sample; what is thrown in does.
    """
    tracks: dict[tuple[str, tuple[str, ...], int, int], set[int]] = {}
    for place in undecided:
        if place.silent:
            tracks.setdefault(_silence_key(place), set()).add(place.track)
    settled: list[FoundFlaw] = []
    closed: list[Undecided] = []
    left: list[Undecided] = []
    for place in undecided:
        if not place.silent or len(place.members) > 2:
            left.append(place)
            continue
        mates: set[int] = set()
        for early, late in product((-1, 0, 1), repeat=2):
            mates |= tracks.get(_silence_key(place, early, late), set())
        if len(mates) < PLAYED_LEAST_TRACKS:
            left.append(place)
            continue
        guilty = next(name for name in place.members if name != place.silent)
        because = Because(Rule.SILENT_TRACKS)
        closed.append(place)
        settled.append(FoundFlaw(guilty, place.track, "burst", place.start, place.end, because=because))
    return [*cleared(flaws, closed), *settled], left


def _silence_key(place: Undecided, early: int = 0, late: int = 0) -> tuple[str, tuple[str, ...], int, int]:
    """Return what noise on several silent tracks has in common: the first and last samples of noise may be zero."""
    start, end = (edge // COINCIDENCE_SAMPLES for edge in place.place)
    return place.silent, place.members, start + early, end + late


def cleared(flaws: Sequence[FoundFlaw], places: Sequence[Undecided]) -> list[FoundFlaw]:
    """Return the flaws without what had been supposed of the places."""
    open_ranges: dict[tuple[str, int], list[Range]] = {}
    for place in places:
        for name in place.members:
            open_ranges.setdefault((name, place.track), []).append((place.start, place.end))
    holes = {key: merged(ranges) for key, ranges in open_ranges.items()}
    left: list[FoundFlaw] = []
    for flaw in flaws:
        if flaw.because.rule == Rule.CONCEALED:
            left.append(flaw)  # strewn losses hold right samples anyway
            continue
        pieces = without([(flaw.start, flaw.end)], holes.get((flaw.pass_name, flaw.track), ()))
        left += [replace(flaw, start=start, end=end) for start, end in pieces]
    return left
