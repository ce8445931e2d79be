"""Lost sync spoils all tracks of a pass at once: what some tracks decide settles the same place on the others.

A machine that loses sync mutes, holds or garbles every track from one sample to another. On a loud track it is plain
which pass is flawed there; on a silent one, or one whose sound holds levels by nature, nothing may tell. Where the
same pass is flawed between the same borders on two other tracks at least, and no other pass is, the place is decided.

All positions are timeline samples.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.aligner.concealment.limits import LEAST_EVIDENCE
from assembler.aligner.events.limits import LEAST_AT_ONCE
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided, cleared, ranges_by_track
from assembler.aligner.records.limits import BRIDGE_SAMPLES, HALF, LEAST_PROOFS, MOST_GAP_SAMPLES
from assembler.aligner.records.ranges import merged

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.ranges import Range


@dataclass(frozen=True)
class _Event:
    """A moment at which a pass is flawed on several tracks between the same borders."""

    pass_name: str
    place: Range
    tracks: frozenset[int]

    def holds(self, track: int, place: Range) -> bool:
        """Return whether a place on another track lies in it."""
        low, high = self.place[0] - BRIDGE_SAMPLES, self.place[1] + BRIDGE_SAMPLES
        return track not in self.tracks and low <= place[0] and place[1] <= high


def settle_by_other_tracks(
    flaws: Sequence[FoundFlaw],
    undecided: Sequence[Undecided],
    stopped: Sequence[FoundFlaw] = (),
) -> tuple[list[FoundFlaw], list[Undecided]]:
    """Return the flaws and the undecided places, those left out that flaws of other tracks decide.

    Args:
        flaws: of all tracks and passes; where a place is undecided, of those that are not taken.
        undecided: of all tracks, in order; those close to each other on one track stand or fall together.
        stopped: what all tracks of a pass have shown together: beside it the pass may be flawed, too.
    """
    decided = cleared(flaws, undecided)
    suspects = _flawed_ranges([*decided, *stopped])
    seen = {
        is_concealed: _flawed_ranges(flaw for flaw in decided if is_concealed or flaw.kind != "means")
        for is_concealed in (False, True)
    }
    events = {is_concealed: _events(by_pass) for is_concealed, by_pass in seen.items()}
    left: list[Undecided] = []
    settled: list[FoundFlaw] = []
    closed: list[Undecided] = []
    for group in _groups(undecided):
        whole = (group[0].start, max(place.end for place in group))
        # That samples were lost on other tracks is no cause of what lost samples do not explain.
        known = any(place.because.rule == Rule.CONCEALED for place in group)
        guilty = _guilty(group[0], whole, seen[known]) or _guilty_at_once(
            group[0], whole, events[known], suspects
        )
        if guilty is None or any(_speaks_for(guilty, place) for place in group):
            left += group
            continue
        kind = _kind(decided, guilty, whole)
        # That one pass is wrong does not make the other right where it looks wrong as well.
        left += [place for place in group if place.is_doubtful]
        for place in (place for place in group if not place.is_doubtful):
            because = Because(Rule.OTHER_TRACKS)
            closed.append(place)
            settled.append(FoundFlaw(guilty, place.track, kind, place.start, place.end, because=because))
    return [*cleared(flaws, closed), *settled], left


def _events(by_pass: dict[tuple[str, int], list[Range]]) -> list[_Event]:
    """Return the moments at which a pass is flawed on so many tracks that all tracks lost sync."""
    starts: dict[str, list[tuple[Range, int]]] = {}
    for (name, track), ranges in by_pass.items():
        starts.setdefault(name, []).extend((place, track) for place in ranges)
    events = []
    for name, places in starts.items():
        places.sort()
        order = [start for (start, _), _ in places]
        for place, _ in places:
            near = places[
                bisect_left(order, place[0] - BRIDGE_SAMPLES) : bisect_right(order, place[0] + BRIDGE_SAMPLES)
            ]
            tracks = frozenset(track for other, track in near if _are_alike(place, other))
            if len(tracks) >= LEAST_AT_ONCE:
                events.append(_Event(name, place, tracks))
    return events


def _groups(undecided: Sequence[Undecided]) -> list[list[Undecided]]:
    """Return places of one track and the same passes that lie close together."""
    groups: list[list[Undecided]] = []
    end = 0
    for place in sorted(undecided, key=lambda one: (one.track, one.members, one.start)):
        last = groups[-1][0] if groups else None
        if (
            last
            and (last.track, last.members) == (place.track, place.members)
            and place.start - end <= MOST_GAP_SAMPLES
        ):
            groups[-1].append(place)
            end = max(end, place.end)
        else:
            groups.append([place])
            end = place.end
    return groups


def _flawed_ranges(flaws: Iterable[FoundFlaw]) -> dict[tuple[str, int], list[Range]]:
    """Return where each pass is flawed on each track, in order: every flaw by itself, and those that touch as one."""
    ranges = ranges_by_track(flaws)
    return {key: sorted(found + merged(found, bridge=BRIDGE_SAMPLES)) for key, found in ranges.items()}


def _guilty(place: Undecided, whole: Range, by_pass: dict[tuple[str, int], list[Range]]) -> str | None:
    """Return the one pass that is flawed between the same borders on other tracks; None if there is none."""
    outer = {name: _extended(whole, by_pass.get((name, place.track), [])) for name in place.members}
    counts = Counter(
        name
        for (name, track), ranges in by_pass.items()
        if track != place.track
        and name in outer
        and (_has_alike(ranges, whole) or _has_alike(ranges, outer[name]))
    )
    likely = [name for name, count in counts.items() if count >= LEAST_PROOFS]
    if len(place.members) > 2 or len(counts) != 1 or not likely:
        return None
    # A flaw of the other pass that ends or begins just here may well reach into the place.
    suspects = [name for name in place.members if name != likely[0]]
    beside = [by_pass.get((name, place.track), []) for name in suspects]
    is_alone = all(_extended(whole, flawed) == whole for flawed in beside)
    return likely[0] if is_alone else None


def _guilty_at_once(
    place: Undecided, whole: Range, events: Sequence[_Event], by_pass: dict[tuple[str, int], list[Range]]
) -> str | None:
    """Return the one pass that lost sync around a place which shows it in part only; None if there is none."""
    guilty = {
        event.pass_name
        for event in events
        if event.pass_name in place.members and event.holds(place.track, whole)
    }
    if len(place.members) > 2 or len(guilty) != 1:
        return None
    (name,) = guilty
    (suspect,) = set(place.members) - guilty
    around = whole[0] - BRIDGE_SAMPLES, whole[1] + BRIDGE_SAMPLES
    is_suspect = any(
        low < around[1] and high > around[0]
        for (other, _), ranges in by_pass.items()
        if other == suspect
        for low, high in ranges
    )
    return None if is_suspect else name


def _speaks_for(name: str, place: Undecided) -> bool:
    """Return whether a pass is likely to be right where samples were lost: then the other one lost some, too."""
    because = place.because
    is_likely = because.rule == Rule.CONCEALED and because.nats is not None and because.nats > LEAST_EVIDENCE
    return is_likely and place.taken == name


def _extended(place: Range, flawed: Sequence[Range]) -> Range:
    """Return a place with what the pass is flawed in beside it on the same track: it may be decided in part."""
    low, high = place[0] - BRIDGE_SAMPLES, place[1] + BRIDGE_SAMPLES
    near = [one for one in flawed if one[0] <= high and one[1] >= low]
    return min([place, *near])[0], max(end for _, end in [place, *near])


def _has_alike(ranges: Sequence[Range], place: Range) -> bool:
    """Return whether one of ranges in order is like a place."""
    near = (
        bisect_left(ranges, (place[0] - BRIDGE_SAMPLES,)),
        bisect_left(ranges, (place[0] + BRIDGE_SAMPLES + 1,)),
    )
    return any(_are_alike(place, one) for one in ranges[slice(*near)])


def _are_alike(first: Range, second: Range) -> bool:
    shorter, longer = sorted((first[1] - first[0], second[1] - second[0]))
    is_near = abs(first[0] - second[0]) <= BRIDGE_SAMPLES and abs(first[1] - second[1]) <= BRIDGE_SAMPLES
    return is_near and HALF * longer <= shorter


def _kind(flaws: Sequence[FoundFlaw], guilty: str, whole: Range) -> str:
    """Return the kind of the flaws that decided, by the samples that show it."""
    lengths: Counter[str] = Counter()
    near = whole[0] - BRIDGE_SAMPLES, whole[1] + BRIDGE_SAMPLES
    for flaw in flaws:
        if flaw.pass_name == guilty and flaw.start < near[1] and flaw.end > near[0]:
            lengths[flaw.kind] += min(flaw.end, near[1]) - max(flaw.start, near[0])
    return lengths.most_common(1)[0][0]
