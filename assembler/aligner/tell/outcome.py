"""What the plan leaves: which flaws of each pass are cured, what stays uncured, and who was taken where.

Positions are timeline samples unless said otherwise.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import islice, pairwise, takewhile
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.because import SLIPPED, stronger
from assembler.aligner.records.edit import AlignedPass, PassFlaw, Uncured
from assembler.aligner.records.ranges import common, merged, without
from assembler.aligner.tell.limits import COARSE_SAMPLES, GROUP_SAMPLES, MOST_LISTED

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from assembler.aligner.plan.path import Forced
    from assembler.aligner.plan.weaving import Weaving
    from assembler.aligner.records.edit import TrackEdit
    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.aligner.records.timemap import TimeMap
    from assembler.aligner.tell.holdings import Holdings
    from assembler.importer import ImportedPass


@dataclass(frozen=True)
class Outcome:
    """What was decided about the tracks.

    Args:
        start: timeline sample of the set's first one.
        edits: of each delivered track.
        punches: of the sheet, as far as they count.
        has_plan: whether the takes are a person's.
    """

    start: int
    edits: tuple[TrackEdit, ...]
    punches: tuple[Forced, ...] = ()
    has_plan: bool = False

    def taken(self, reel: str, tape_track: int, place: Range) -> list[str] | None:
        """Return the passes that the set has a place from, in order; None where it is in no track of the set."""
        here = place[0] - self.start, place[1] - self.start
        found: dict[str, None] = {}
        is_delivered = False
        for edit in self.edits:
            if edit.track.tape_tracks.get(reel) != tape_track:
                continue
            first = max(0, bisect_right(edit.spans, here[0], key=lambda span: span.start) - 1)
            for span in takewhile(lambda span: span.start < here[1], islice(edit.spans, first, None)):
                if here[0] < span.end:
                    is_delivered = True
                    if span.pass_name is not None:
                        found[span.pass_name] = None
        return list(found) if is_delivered else None

    def is_punched(self, name: str, place: Range) -> bool:
        """Return whether a punch asks for a pass at a place."""
        return any(p.name == name and p.start < place[1] and place[0] < p.end for p in self.punches)


def find_uncured(
    reels: Sequence[ExaminedReel],
    edit: TrackEdit,
    start: int,
    holdings: Mapping[str, Holdings],
    weavings: Mapping[str, Weaving],
) -> list[Uncured]:
    """Return the places of a track that no pass has right, with what each pass has there.

    Args:
        reels: placed and compared.
        edit: of the track; its positions count from the set's first sample.
        start: timeline sample of that one.
        holdings: of each reel, by name.
        weavings: of each reel, by name: what of the track is woven.
    """
    found: list[Uncured] = []
    for reel in reels:
        tape_track = edit.track.tape_tracks.get(reel.name)
        if tape_track is None:
            continue
        flaws = _flaws_of_track(reel, tape_track)
        bad: list[_Bad] = []
        for span, (low, high) in zip(edit.spans, _heard(edit), strict=True):
            here = (low + start, high + start)
            if span.pass_name is None:
                bad += [
                    _Bad(first, last, kind, None) for first, last, kind in _missing(reel, tape_track, here)
                ]
            elif span.pass_name in flaws:
                bad += [
                    _Bad(low, high, flaw.kind, flaw.pass_name)
                    for flaw in flaws[span.pass_name].within(here)
                    for low, high in weavings[reel.name].unwoven(
                        span.pass_name, tape_track, (flaw.start, flaw.end)
                    )
                ]
        found += [
            Uncured(
                reel.name,
                edit.track,
                place.start - start,
                place.end - start,
                place.kind,
                holdings[reel.name].at(
                    tape_track,
                    (place.start, place.end),
                    [] if place.pass_name is None else [place.pass_name],
                ),
            )
            for place in _bounded(bad)
        ]
    return sorted(found, key=lambda place: (place.start, place.end, place.kind))


@dataclass(frozen=True)
class _Bad:
    """A stretch of the timeline that is flawed in what the set takes; from no pass where that is silence."""

    start: int
    end: int
    kind: str
    pass_name: str | None


class _Flaws:
    """The flaws of one pass on one track, to be looked up by place."""

    def __init__(self, flaws: Sequence[FoundFlaw]) -> None:
        self._flaws = flaws
        self._starts = np.array([flaw.start for flaw in flaws], np.int64)
        self._ends = np.array([flaw.end for flaw in flaws], np.int64)

    def within(self, place: Range) -> list[_Bad]:
        """Return what lies in a place, cut to it."""
        numbers = np.flatnonzero((self._starts < place[1]) & (self._ends > place[0]))
        inside = [self._flaws[number] for number in numbers.tolist()]
        return [_Bad(max(f.start, place[0]), min(f.end, place[1]), f.kind, f.pass_name) for f in inside]


def _flaws_of_track(reel: ExaminedReel, tape_track: int) -> dict[str, _Flaws]:
    by_pass: dict[str, list[FoundFlaw]] = {}
    for flaw in reel.findings.flaws:
        if flaw.track == tape_track:
            by_pass.setdefault(flaw.pass_name, []).append(flaw)
    return {name: _Flaws(flaws) for name, flaws in by_pass.items()}


def _bounded(places: Sequence[_Bad]) -> list[_Bad]:
    """Return the places; where they are too many, those that lie close together as one."""
    if len(places) <= MOST_LISTED:
        return list(places)
    alike: dict[tuple[str, str | None], list[Range]] = {}
    for place in places:
        alike.setdefault((place.kind, place.pass_name), []).append((place.start, place.end))
    return [
        _Bad(start, end, kind, name)
        for (kind, name), ranges in alike.items()
        for start, end in merged(ranges, bridge=COARSE_SAMPLES)
    ]


def _heard(edit: TrackEdit) -> list[Range]:
    """Return for each span of a track from where to where it is heard, with the fades that reach out of it."""
    before = [join.fade // 2 for join in edit.joins]
    behind = [join.fade - join.fade // 2 for join in edit.joins]
    return [
        (span.start - early, span.end + late)
        for span, early, late in zip(edit.spans, [0, *before], [*behind, 0], strict=True)
    ]


def _missing(reel: ExaminedReel, tape_track: int, silence: Range) -> list[tuple[int, int, str]]:
    """Return where a track is silent between the reel's first and last sample: lost in a slip, or held by no pass."""
    held = merged(piece for one in reel.passes for t in range(one.reader.tracks) for piece in one.covered(t))
    outer = [(held[0][0], held[-1][1])] if held else []
    lost = [
        (a.timeline_end, b.timeline_start)
        for one in reel.passes
        for a, b in pairwise(one.maps[tape_track].stretches)
        if a.timeline_end < b.timeline_start
    ]
    slipped = common([silence], merged(lost))
    absent = common(without([silence], slipped), outer)
    return [(a, b, "slip") for a, b in slipped] + [(a, b, "missing") for a, b in absent]


def aligned_pass(
    one: ImportedPass,
    reels: Sequence[ExaminedReel],
    uncured: Sequence[Uncured],
    start: int,
) -> AlignedPass:
    """Return a pass as it takes part in the set, with its flaws.

    Args:
        one: as it was read, its wiring put right.
        reels: placed and compared.
        uncured: places of the set that no pass has right.
        start: timeline sample of the set's first one.
    """
    reel = next(reel for reel in reels if reel.name == one.reel)
    time_map = reel.maps.get(one.name)
    if time_map is None:
        return AlignedPass(one, None, ())
    open_places = _open_places(reel, uncured, start)
    flaws = []
    for flaw in reel.findings.flaws:
        if flaw.pass_name == one.name:
            cured = not common(open_places.get(flaw.track, []), [(flaw.start, flaw.end)])
            ranges = time_map.pass_ranges(flaw.start, flaw.end)
            flaws += [
                PassFlaw(flaw.kind, low, high, (flaw.track,), cured, because=flaw.because)
                for low, high in ranges
            ]
    return AlignedPass(one, time_map, tuple(_grouped(flaws + _slip_flaws(one, time_map, open_places))))


def _slip_flaws(
    one: ImportedPass, time_map: TimeMap, open_places: Mapping[int, list[Range]]
) -> list[PassFlaw]:
    tracks = tuple(range(one.audio.tracks))
    found = []
    for before, after in pairwise(time_map.stretches):
        gap = [(before.timeline_end, after.timeline_start)]
        cured = not any(common(places, gap) for places in open_places.values())
        samples = after.shift - before.shift
        at = after.pass_start
        found.append(PassFlaw("slip", at, at, tracks, cured, samples, because=SLIPPED))
    return found


def _open_places(reel: ExaminedReel, uncured: Sequence[Uncured], start: int) -> dict[int, list[Range]]:
    """Return, for each tape track of a reel, the timeline ranges that no pass is known to have right."""
    places: dict[int, list[Range]] = {}
    for place in uncured:
        if place.reel == reel.name:
            ranges = places.setdefault(place.track.tape_tracks[reel.name], [])
            ranges.append((place.start + start, place.end + start))
    for doubt in reel.findings.undecided:
        places.setdefault(doubt.track, []).append((doubt.start, doubt.end))
    return {track: merged(ranges) for track, ranges in places.items()}


def _grouped(flaws: Iterable[PassFlaw]) -> list[PassFlaw]:
    grouped: list[PassFlaw] = []
    near = 0
    for flaw in sorted(flaws, key=lambda f: (f.start, f.end, f.kind)):
        # Groups are in the order of their starts: what begins too early for this flaw does so for all behind it.
        while near < len(grouped) and grouped[near].start < flaw.start - GROUP_SAMPLES:
            near += 1
        mate = next(
            (
                i
                for i, other in ((i, grouped[i]) for i in range(near, len(grouped)))
                if other.kind == flaw.kind != "slip"
                and abs(other.start - flaw.start) <= GROUP_SAMPLES
                and abs(other.end - flaw.end) <= GROUP_SAMPLES
                and not set(other.tracks) & set(flaw.tracks)
            ),
            None,
        )
        if mate is None:
            grouped.append(flaw)
            continue
        other = grouped[mate]
        grouped[mate] = PassFlaw(
            flaw.kind,
            min(other.start, flaw.start),
            max(other.end, flaw.end),
            tuple(sorted(other.tracks + flaw.tracks)),
            other.cured and flaw.cured,
            because=stronger(other.because, flaw.because),
        )
    return grouped
