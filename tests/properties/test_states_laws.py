"""Laws of states and rolls, on random holdings."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from hypothesis import given
from hypothesis import strategies as st

from assembler.aligner.states.track import Closed, PassHoldings, stretches_of
from assembler.verdict.states import State, StateStretch, TrackStates, shares_of, worst_of

if TYPE_CHECKING:
    from collections.abc import Sequence

REACH = (0, 60)
ORDER = list(State)

_ranges = st.lists(st.tuples(st.integers(-5, 65), st.integers(1, 20)), max_size=4).map(
    lambda pairs: sorted((low, low + size) for low, size in pairs)
)


def _apart(ranges: list[tuple[int, int]]) -> list[tuple[int, int]]:
    kept: list[tuple[int, int]] = []
    for low, high in ranges:
        if not kept or low >= kept[-1][1]:
            kept.append((low, high))
    return kept


@st.composite
def _holdings(draw: st.DrawFn) -> list[PassHoldings]:
    return [
        PassHoldings(f"A{number}", _apart(draw(_ranges)), draw(_ranges))
        for number in range(draw(st.integers(0, 3)))
    ]


@st.composite
def _closed(draw: st.DrawFn) -> Closed:
    return Closed(draw(_ranges), draw(_ranges), draw(_ranges), draw(_ranges))


def _in(ranges: Sequence[tuple[int, int]], at: int) -> bool:
    return any(low <= at < high for low, high in ranges)


def _state(held: list[PassHoldings], closed: Closed, at: int) -> State:
    """Return the state of one sample by the words of the record, without any sweep."""
    if _in(closed.unrecorded, at):
        return State.PROVEN
    covering = [one for one in held if _in(one.covered, at)]
    good = [one for one in covering if not _in(one.flawed, at)]
    if not covering:
        return State.MISSING
    if _in(closed.undecided, at) or not (good or _in(closed.woven, at)):
        return State.FLAWED
    if _in(closed.suspect, at):
        return State.SUSPECT
    return State.PROVEN if len(good) > 1 else State.SEEN_ONCE


@given(_holdings(), _closed())
def test_every_sample_has_the_state_that_its_passes_give_it(held: list[PassHoldings], closed: Closed) -> None:
    """The sweep over borders says of each sample what looking at it alone says; there are no gaps."""
    found = stretches_of(REACH, held, closed, lambda *_: True)
    assert (found[0].start, found[-1].end) == REACH
    assert all(a.end == b.start and a.state is not b.state for a, b in pairwise(found))
    by_sample = [one.state for one in found for _ in range(one.start, one.end)]
    assert by_sample == [_state(held, closed, at) for at in range(*REACH)]
    assert abs(sum(shares_of(found).values()) - 1) < 1e-12


_track = st.lists(st.tuples(st.integers(1, 9), st.sampled_from(ORDER)), min_size=1, max_size=6)


@given(st.lists(_track, min_size=1, max_size=4))
def test_a_tape_takes_the_worst_of_its_tracks(tracks: list[list[tuple[int, State]]]) -> None:
    """At each sample, wherever tracks begin and end; merging one track with itself changes nothing."""
    built = []
    for number, own in enumerate(tracks):
        at = number
        stretches = []
        for size, state in own:
            stretches.append(StateStretch(at, at + size, state))
            at += size
        built.append(TrackStates(number, tuple(stretches)))
    merged = worst_of(built)
    found = {at: one.state for one in merged for at in range(one.start, one.end)}
    wanted: dict[int, State] = {}
    for track in built:
        for one in track.stretches:
            for at in range(one.start, one.end):
                wanted[at] = max(wanted.get(at, State.PROVEN), one.state, key=ORDER.index)
    assert found == wanted
    assert worst_of([TrackStates(0, merged), TrackStates(1, merged)]) == merged
