"""The states of one track: a sweep over the borders of all that its passes hold.

Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.ranges import are_inside
from assembler.arrays import distinct
from assembler.verdict.states import State, StateStretch, joined_stretches

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Int64s


@dataclass(frozen=True)
class PassHoldings:
    """What one pass holds of a track.

    Args:
        name: of the pass.
        covered: in order, without its idle ends.
        flawed: where it is not what the tape holds; may overlap.
    """

    name: str
    covered: Sequence[Range]
    flawed: Sequence[Range]


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
    reach: Range,
    held: Sequence[PassHoldings],
    closed: Closed,
    are_same: Callable[[str, str], bool],
    may_stand_alone: Callable[[str], bool] = lambda _: True,
) -> tuple[StateStretch, ...]:
    """Return the states of one track from the first sample of a reach to its last, without gaps.

    Args:
        reach: from the reel's first sample covered to after its last.
        held: by each pass.
        closed: what else is known.
        are_same: whether two passes hold the same numbers wherever both are good.
        may_stand_alone: whether what only this pass has right counts as right.
    """
    borders = _borders(reach, held, closed)

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
    for name, own in good.items():
        if may_stand_alone(name):
            states[own] = ranks[State.SEEN_ONCE]
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


def _borders(reach: Range, held: Sequence[PassHoldings], closed: Closed) -> Int64s:
    """Return all places within a reach where anything begins or ends, and its own ends, in order."""
    ranges = [reach]
    for one in held:
        ranges += [*one.covered, *one.flawed]
    ranges += [*closed.woven, *closed.undecided, *closed.suspect, *closed.unrecorded]
    borders = distinct(np.array(ranges, np.int64))
    return borders[(reach[0] <= borders) & (borders <= reach[1])]
