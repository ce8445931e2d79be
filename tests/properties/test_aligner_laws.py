"""Laws of ranges, time maps, plans and placing."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.aligner.place.matching import find_match
from assembler.aligner.plan.limits import ANY_JOIN, BARE_CUT, DIFFERING_JOIN, FLAWED_SAMPLE, TRUST_PER_SAMPLE
from assembler.aligner.plan.path.cheapest import plan_track
from assembler.aligner.plan.path.choices import Candidate, PlanRules
from assembler.aligner.records.ranges import Range, common, merged, ranges_of, total, without
from assembler.aligner.records.timemap import Slip, map_with_slips
from scripts.bench.trial_sessions import make_tape

LENGTH = 60
TAPE = make_tape("dense", 16, 40_000, np.random.default_rng(71))

some_range = st.tuples(st.integers(0, LENGTH - 1), st.integers(1, LENGTH)).map(
    lambda drawn: (drawn[0], min(LENGTH, drawn[0] + drawn[1]))
)
any_ranges = st.lists(some_range, max_size=6)


def _samples(ranges: list[Range]) -> set[int]:
    return {sample for start, end in ranges for sample in range(start, end)}


@settings(deadline=None)
@given(any_ranges, any_ranges)
def test_ranges_are_sets_of_samples(first: list[Range], second: list[Range]) -> None:
    """Union, intersection, difference and size are those of the sets of samples."""
    a, b = merged(first), merged(second)
    assert _samples(a) == _samples(first)
    assert all(before[1] < after[0] for before, after in pairwise(a))
    assert _samples(common(a, b)) == _samples(a) & _samples(b)
    assert _samples(without(a, b)) == _samples(a) - _samples(b)
    assert total(a) == len(_samples(a))


@settings(deadline=None)
@given(any_ranges, st.integers(0, 5))
def test_masks_and_ranges_say_the_same(ranges: list[Range], bridge: int) -> None:
    """The ranges of a mask are those it was made of, gaps of the bridge's length closed."""
    mask = np.zeros(LENGTH, np.bool_)
    for start, end in ranges:
        mask[start:end] = True
    assert ranges_of(mask, bridge=bridge) == merged(ranges, bridge=bridge)


@st.composite
def slips_of_a_pass(draw: st.DrawFn) -> tuple[int, tuple[Slip, ...]]:
    """Give a pass's length and slips that leave a stretch before, between and behind them."""
    slips, at = [], 0
    for _ in range(draw(st.integers(0, 4))):
        at += draw(st.integers(1, 50))
        samples = draw(st.integers(1, 20)) * draw(st.sampled_from([1, -1]))
        slips.append(Slip(at, samples))
        at += max(0, -samples)
    return at + draw(st.integers(1, 50)), tuple(slips)


@settings(deadline=None)
@given(slips_of_a_pass(), st.integers(-1000, 1000))
def test_a_map_gives_its_slips_back(made: tuple[int, tuple[Slip, ...]], start: int) -> None:
    """The slips read from a map are those it was made of, and each pass sample has one place or none."""
    length, slips = made
    time_map = map_with_slips(length, start, slips)
    assert time_map.slips() == slips
    places = [time_map.timeline_ranges(sample, sample + 1) for sample in range(length)]
    there = [place[0][0] for place in places if place]
    assert there == sorted(set(there))
    repeats = sum(-slip.samples for slip in slips if slip.samples < 0)
    assert sum(not place for place in places) == repeats
    for sample, place in enumerate(places):
        if place:
            assert time_map.pass_ranges(*place[0]) == ((sample, sample + 1),)


@st.composite
def candidates(draw: st.DrawFn) -> list[Candidate]:
    """Give two or three passes of one track with what they cover and where they are flawed."""
    return [
        Candidate(
            name,
            tuple(merged(draw(st.lists(some_range, min_size=1, max_size=4)))),
            tuple(merged(draw(any_ranges))),
        )
        for name in ("one", "two", "three")[: draw(st.integers(2, 3))]
    ]


def _holds(ranges: tuple[Range, ...], sample: int) -> bool:
    return any(start <= sample < end for start, end in ranges)


def _cost(
    passes: list[Candidate], edges: list[int], path: tuple[str | None, ...], alike: frozenset[str]
) -> float:
    """Return what a path costs by the rules told in the module's docstring; infinite where it can't be."""
    by_name = {one.name: one for one in passes}
    ranks = {one.name: rank for rank, one in enumerate(passes)}
    cost = 0.0
    for (low, high), name in zip(pairwise(edges), path, strict=True):
        covering = [one.name for one in passes if _holds(one.covered, low)]
        if (name is None) != (not covering) or (name is not None and name not in covering):
            return float("inf")
        if name is not None:
            flawed = FLAWED_SAMPLE if _holds(by_name[name].flawed, low) else 0.0
            cost += (high - low) * (flawed + ranks[name] * TRUST_PER_SAMPLE)
    for at, (before, after) in zip(edges[1:], pairwise(path), strict=False):
        if before == after or before is None or after is None:
            continue
        good = any(
            all(
                _holds(by_name[n].covered, side) and not _holds(by_name[n].flawed, side)
                for n in (before, after)
            )
            for side in (at - 1, at)
        )
        if {before, after} <= alike:
            cost += ANY_JOIN if good else 2 * ANY_JOIN
        else:
            cost += DIFFERING_JOIN if good else BARE_CUT
    return cost


@settings(deadline=None, max_examples=60)
@given(candidates(), st.sampled_from([frozenset[str](), frozenset({"one", "two"})]))
def test_no_other_path_is_cheaper(passes: list[Candidate], alike: frozenset[str]) -> None:
    """Of all ways to choose a pass for every stretch, tried one by one, none costs less than the plan's."""
    marks = {edge for one in passes for pair in (*one.covered, *one.flawed) for edge in pair}
    edges = sorted(marks | {0, LENGTH})
    # All paths are tried: at most four choices for a stretch, so that stretches are kept few.
    edges = [0, *[edge for edge in edges if 0 < edge < LENGTH][:6], LENGTH]
    cut = [Candidate(one.name, _snapped(one.covered, edges), _snapped(one.flawed, edges)) for one in passes]
    cut = [one for one in cut if one.covered] or [Candidate("one", ((0, LENGTH),))]
    plan = plan_track(cut, PlanRules(0, dict.fromkeys(alike, 0)), 0, LENGTH)
    names = [one.name for one in cut]
    cheapest = min(_cost(cut, edges, path, alike) for path in product([*names, None], repeat=len(edges) - 1))
    flawed = _flawed_samples(cut, [(choice.start, choice.end, choice.name) for choice in plan.choices])
    assert flawed == int((cheapest + 0.5 * FLAWED_SAMPLE) // FLAWED_SAMPLE)
    if not alike:
        # Nothing is moved where sides are not alike and nothing is faded: the choices are the path itself.
        path = tuple(
            next(choice.name for choice in plan.choices if choice.start <= low < choice.end)
            for low in edges[:-1]
        )
        assert _cost(cut, edges, path, alike) <= cheapest + 1e-9


def _snapped(ranges: tuple[Range, ...], edges: list[int]) -> tuple[Range, ...]:
    """Return ranges with their ends moved to the nearest edge before."""
    moved = [
        (max(e for e in edges if e <= start), max(e for e in edges if e <= end)) for start, end in ranges
    ]
    return tuple(merged(pair for pair in moved if pair[0] < pair[1]))


def _flawed_samples(passes: list[Candidate], choices: list[tuple[int, int, str | None]]) -> int:
    by_name = {one.name: one for one in passes}
    return sum(
        total(common([(start, end)], merged(by_name[name].flawed))) for start, end, name in choices if name
    )


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 37_000), st.integers(-400, 400), st.integers(0, 7), st.floats(0, 0.45))
def test_a_piece_is_found_where_it_was_taken(at: int, error: int, track: int, flawed: float) -> None:
    """Whatever place is expected, and with nearly half of it flawed, the piece's place is exact."""
    probe = TAPE[:, at : at + 2048].copy()
    size = int(flawed * 2048)
    probe[:, 300 : 300 + size] = 77 * (track + 1)
    match = find_match(list(TAPE), list(probe), at + error)
    assert match is not None
    assert (match.shift, match.rivals) == (at, ())
