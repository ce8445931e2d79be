"""The states of a reel's tracks, each by a sweep over the borders of all that its passes hold.

Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from itertools import chain, combinations
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.suspects import places_to_listen_to
from assembler.aligner.records.findings import ranges_by_track
from assembler.aligner.records.ranges import are_inside, edges_within, merged, without
from assembler.verdict.states import State, StateStretch, TrackStates, joined_stretches

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.records.edit import DeliveredTrack
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.arrays import Bools
    from assembler.sheet import Sheet
    from assembler.verdict.states import Suspect


@dataclass(frozen=True)
class PassHoldings:
    """What one pass holds of a track.

    Args:
        name: of the pass.
        covered: in order, without its idle ends.
        flawed: where it is not what the tape holds; may overlap.
        may_stand_alone: whether what only this pass has right counts as right.
    """

    name: str
    covered: Sequence[Range]
    flawed: Sequence[Range]
    may_stand_alone: bool = True


@dataclass(frozen=True)
class Closed:
    """What else is known of a track.

    Args:
        woven: no pass is right as a whole, every sample in some pass.
        undecided: passes differ, and nothing tells which is right.
        suspect: it looks like a flaw, without a witness.
        unrecorded: a person says that nothing was ever recorded there.
    """

    woven: Sequence[Range] = ()
    undecided: Sequence[Range] = ()
    suspect: Sequence[Range] = ()
    unrecorded: Sequence[Range] = ()


def stretches_of(
    reach: Range, held: Sequence[PassHoldings], closed: Closed, are_same: Callable[[str, str], bool]
) -> tuple[StateStretch, ...]:
    """Return the states of one track from the first sample of a reach to its last, without gaps.

    Args:
        reach: from the reel's first sample covered to after its last.
        held: by each pass.
        closed: what else is known.
        are_same: whether two passes hold the same numbers wherever both are good.
    """
    known = (closed.woven, closed.undecided, closed.suspect, closed.unrecorded)
    ranges = chain(*(one.covered for one in held), *(one.flawed for one in held), *known)
    borders = edges_within(reach, ranges)

    def inside(ranges: Sequence[Range]) -> Bools:
        return are_inside(borders, ranges)

    count = borders.size - 1
    good, covered = {}, np.zeros(count, np.bool_)
    for one in held:
        own = inside(one.covered)
        covered |= own
        good[one.name] = own & ~inside(one.flawed)
    ranks = {state: rank for rank, state in enumerate(State)}
    states = np.full(count, ranks[State.MISSING])
    states[covered] = ranks[State.FLAWED]
    states[covered & inside(closed.woven)] = ranks[State.SEEN_ONCE]
    for one in held:
        if one.may_stand_alone:
            states[good[one.name]] = ranks[State.SEEN_ONCE]
    for first, second in combinations(good, 2):
        if are_same(first, second):
            states[good[first] & good[second]] = ranks[State.PROVEN]
    states[inside(closed.suspect) & (states < ranks[State.SUSPECT])] = ranks[State.SUSPECT]
    states[covered & inside(closed.undecided)] = ranks[State.FLAWED]
    # There is nothing on the tape that could still be saved.
    states[inside(closed.unrecorded)] = ranks[State.PROVEN]
    order = list(State)
    places = borders.tolist()
    return joined_stretches(
        StateStretch(low, high, order[rank])
        for low, high, rank in zip(places, places[1:], states.tolist(), strict=False)
    )


def known_of(
    reels: Sequence[ExaminedReel], tracks: Sequence[DeliveredTrack], sheet: Sheet
) -> tuple[dict[str, tuple[TrackStates, ...]], tuple[Suspect, ...]]:
    """Return the states of each reel's tracks, by its name, and the places of all reels worth listening to."""
    suspects = places_to_listen_to(reels, sheet.session.sample_rate)
    return {reel.name: _states_of(reel, tracks, suspects, sheet) for reel in reels}, suspects


def _states_of(
    reel: ExaminedReel, tracks: Sequence[DeliveredTrack], suspects: Sequence[Suspect], sheet: Sheet
) -> tuple[TrackStates, ...]:
    """Return the states of the tracks of a reel that are delivered; nothing where none of its passes can be used."""
    wanted = [track.tape_tracks[reel.name] for track in tracks if reel.name in track.tape_tracks]
    held = {track: _holdings(reel, track, sheet) for track in wanted}
    covered = merged(piece for own in held.values() for one in own for piece in one.covered)
    if not covered:
        return ()
    reach, findings = (covered[0][0], covered[-1][1]), reel.findings
    states = []
    for track in wanted:
        closed = Closed(
            woven=[(one.start, one.end) for one in findings.woven if one.track == track],
            undecided=[(one.start, one.end) for one in findings.undecided if one.track == track],
            suspect=[
                (one.start, one.end) for one in suspects if one.reel == reel.name and track in one.tracks
            ],
            unrecorded=_unrecorded(reel, track, reach, held[track]),
        )
        are_same = partial(_are_same, reel, track)
        states.append(TrackStates(track, stretches_of(reach, held[track], closed, are_same)))
    return tuple(states)


def _holdings(reel: ExaminedReel, track: int, sheet: Sheet) -> list[PassHoldings]:
    """Return what each pass holds; one that is nowhere identical with a better one counts alone where it may cure."""
    flawed = ranges_by_track(reel.findings.flaws)
    holding = [one.name for one in reel.passes if one.maps[track].stretches]
    return [
        PassHoldings(
            one.name,
            without(merged(one.covered(track)), reel.idle.get(one.name, ())),
            flawed.get((one.name, track), ()),
            sheet.repair.unlike == "cure" or not reel.findings.better_ones(one.name, holding, track),
        )
        for one in reel.passes
    ]


def _unrecorded(reel: ExaminedReel, track: int, reach: Range, held: Sequence[PassHoldings]) -> list[Range]:
    """Return where nothing was ever recorded, with what sticks out of it by less than a frame and no pass covers."""
    holes = list(reel.unrecorded.get(track, ()))
    for start, end in without([reach], merged(piece for one in held for piece in one.covered)):
        holes += without([(start, end)], reel.recorded(track, start, end))
    return holes


def _are_same(reel: ExaminedReel, track: int, first: str, second: str) -> bool:
    return reel.groups.get(first) == reel.groups.get(second) and not reel.findings.are_unlike(
        first, second, track
    )
