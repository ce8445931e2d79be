"""Lost sync spoils all tracks of a pass at once: what some tracks decide settles the same place on the others.

A machine that loses sync mutes, holds or garbles every track from one sample to another. On a loud track it is plain
which pass is flawed there; on a silent one, or one whose sound holds levels by nature, nothing may tell. Where the
same pass is flawed between the same borders on two other tracks at least, and no other pass is, the place is decided.

All positions are timeline samples.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

from assembler.aligner.findings import FoundFlaw
from assembler.aligner.ranges import common, merged, without

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.findings import Undecided
    from assembler.aligner.ranges import Range

BORDER_SAMPLES = 64
"""At the borders of a flaw some of its samples may be right by chance."""

LEAST_TRACKS = 2
LEAST_SILENT, BORDER_STEP = 3, 8


def settle_by_other_tracks(
    flaws: Sequence[FoundFlaw], undecided: Sequence[Undecided], bridge: int
) -> tuple[list[FoundFlaw], list[Undecided]]:
    """Return the flaws and the undecided places, those left out that flaws of other tracks decide.

    Args:
        flaws: of all tracks and passes; where a place is undecided, of those that are not taken.
        undecided: of all tracks, in order.
        bridge: undecided places closer than this on one track are one, and stand or fall together.
    """
    found, open_places = _settle_noise_in_silence(flaws, undecided)
    decided = found
    for place in open_places:
        decided = _cleared(decided, place)
    by_pass = _flawed_ranges(decided)
    left: list[Undecided] = []
    for group in _groups(open_places, bridge):
        whole = (group[0].start, max(place.end for place in group))
        guilty = _guilty(group[0], whole, by_pass)
        if guilty is None:
            left += group
            continue
        kind = _kind(decided, guilty, whole)
        # That one pass is wrong does not make the other right where it looks wrong as well.
        left += [place for place in group if place.is_doubtful]
        for place in (place for place in group if not place.is_doubtful):
            found = _cleared(found, place)
            found.append(FoundFlaw(guilty, place.track, kind, place.start, place.end))
    return found, left


def _settle_noise_in_silence(
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
    found, left = list(flaws), []
    for place in undecided:
        mates: set[int] = set()
        for early, late in product((-1, 0, 1), repeat=2):
            mates |= tracks.get(_silence_key(place, early, late), set())
        if not place.silent or len(mates) < LEAST_SILENT or len(place.members) > 2:
            left.append(place)
            continue
        guilty = next(name for name in place.members if name != place.silent)
        found = _cleared(found, place)
        found.append(FoundFlaw(guilty, place.track, "burst", place.start, place.end))
    return found, left


def _silence_key(place: Undecided, early: int = 0, late: int = 0) -> tuple[str, tuple[str, ...], int, int]:
    """Return what noise on several silent tracks has in common: the first and last samples of noise may be zero."""
    start, end = (edge // BORDER_STEP for edge in place.place)
    return place.silent, place.members, start + early, end + late


def _groups(undecided: Sequence[Undecided], bridge: int) -> list[list[Undecided]]:
    groups: list[list[Undecided]] = []
    for place in sorted(undecided, key=lambda one: (one.track, sorted((one.taken, *one.others)), one.start)):
        last = groups[-1] if groups else None
        if (
            last
            and last[0].track == place.track
            and last[0].members == place.members
            and place.start - max(one.end for one in last) <= bridge
        ):
            last.append(place)
        else:
            groups.append([place])
    return groups


def _flawed_ranges(flaws: Sequence[FoundFlaw]) -> dict[tuple[str, int], list[Range]]:
    """Return where each pass is flawed on each track: every flaw by itself, and those that touch as one."""
    ranges: dict[tuple[str, int], list[Range]] = {}
    for flaw in flaws:
        ranges.setdefault((flaw.pass_name, flaw.track), []).append((flaw.start, flaw.end))
    return {key: found + merged(found, bridge=BORDER_SAMPLES) for key, found in ranges.items()}


def _guilty(place: Undecided, whole: Range, by_pass: dict[tuple[str, int], list[Range]]) -> str | None:
    """Return the one pass that is flawed between the same borders on other tracks; None if there is none."""
    counts = Counter(
        name
        for (name, track), ranges in by_pass.items()
        if track != place.track
        and name in place.members
        and any(
            _are_alike(outer, found)
            for outer in (whole, _extended(whole, by_pass.get((name, place.track), [])))
            for found in ranges
        )
    )
    likely = [name for name, count in counts.items() if count >= LEAST_TRACKS]
    if len(place.members) > 2 or len(counts) != 1 or not likely:
        return None
    # A flaw of the other pass that ends or begins just here may well reach into the place.
    suspects = [name for name in place.members if name != likely[0]]
    beside = [by_pass.get((name, place.track), []) for name in suspects]
    is_alone = all(_extended(whole, flawed) == whole for flawed in beside)
    return likely[0] if is_alone else None


def _extended(place: Range, flawed: Sequence[Range]) -> Range:
    """Return a place with what the pass is flawed in beside it on the same track: it may be decided in part."""
    outer = merged([place, *flawed], bridge=BORDER_SAMPLES)
    return next((low, high) for low, high in outer if low <= place[0] < high)


def _are_alike(first: Range, second: Range) -> bool:
    return abs(first[0] - second[0]) <= BORDER_SAMPLES and abs(first[1] - second[1]) <= BORDER_SAMPLES


def _kind(flaws: Sequence[FoundFlaw], guilty: str, whole: Range) -> str:
    """Return the kind of the flaws that decided, by the samples that show it."""
    lengths: Counter[str] = Counter()
    for flaw in flaws:
        if flaw.pass_name == guilty:
            lengths[flaw.kind] += sum(end - start for start, end in common([whole], [(flaw.start, flaw.end)]))
    return lengths.most_common(1)[0][0]


def _cleared(flaws: Sequence[FoundFlaw], place: Undecided) -> list[FoundFlaw]:
    """Return the flaws without what had been supposed of the place."""
    kept: list[FoundFlaw] = []
    for flaw in flaws:
        is_apart = flaw.end <= place.start or place.end <= flaw.start
        if is_apart or flaw.track != place.track or flaw.pass_name not in place.members:
            kept.append(flaw)
            continue
        kept += [
            replace(flaw, start=start, end=end)
            for start, end in without([(flaw.start, flaw.end)], [(place.start, place.end)])
        ]
    return kept
