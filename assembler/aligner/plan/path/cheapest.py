"""The plan: which pass each stretch of a delivered track is taken from, and where they join.

Choosing is a shortest path over the stretches between all borders (where a pass begins, ends, or is flawed).
In order of weight: a flawed sample, a join without common good samples, a join of sides that differ, any join at
all, and a sample from a less trusted pass. The weights are so far apart that no number of lesser evils in a
session of a day outweighs one greater. Pure: ranges in, spans and joins out; positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.plan.joins.settle import settle_choices
from assembler.aligner.plan.limits import (
    ANY_JOIN,
    BARE_CUT,
    DIFFERING_JOIN,
    FLAWED_SAMPLE,
    SAMPLE_IN_PART,
    TRUST_PER_SAMPLE,
)
from assembler.aligner.plan.path.choices import Candidate, Choice, PlanRules, TrackChoices
from assembler.aligner.records.ranges import are_inside, edges_within

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


def plan_track(candidates: Sequence[Candidate], rules: PlanRules, start: int, end: int) -> TrackChoices:
    """Return the choices and joins of one track from ``start`` to ``end``."""
    segments = _segments(candidates, rules, start, end)
    path = _shortest_path(segments, candidates, rules)
    choices = _joined_choices(segments, path)
    return settle_choices(choices, candidates, rules)


@dataclass(frozen=True)
class _Segment:
    start: int
    end: int
    costs: Mapping[str | None, float]
    good: frozenset[str]


def _segments(candidates: Sequence[Candidate], rules: PlanRules, start: int, end: int) -> list[_Segment]:
    ranges = [(forced.start, forced.end) for forced in rules.forced]
    for one in candidates:
        ranges += [*one.covered, *one.flawed, *one.in_part]
    inside = edges_within((start, end), ranges)
    # Of each candidate, for each segment, whether it is covered, flawed, and right in part.
    held = [
        np.stack(
            [are_inside(inside, ranges) for ranges in (one.covered, one.flawed, one.in_part)], axis=1
        ).tolist()
        for one in candidates
    ]
    return [
        _segment(candidates, [own[number] for own in held], rules, low, high)
        for number, (low, high) in enumerate(pairwise(inside.tolist()))
    ]


def _segment(
    candidates: Sequence[Candidate], held: Sequence[Sequence[bool]], rules: PlanRules, start: int, end: int
) -> _Segment:
    costs: dict[str | None, float] = {}
    good = set()
    for rank, (candidate, (is_covered, is_flawed, in_part)) in enumerate(zip(candidates, held, strict=True)):
        if not is_covered:
            continue
        price = SAMPLE_IN_PART if in_part else FLAWED_SAMPLE
        bad = price if is_flawed and rules.heed_flaws else 0.0
        costs[candidate.name] = (end - start) * (bad + rank * TRUST_PER_SAMPLE)
        if not is_flawed:
            good.add(candidate.name)
    forced = [f.name for f in rules.forced if f.start <= start < f.end and f.name in costs]
    if forced:
        costs = {forced[-1]: costs[forced[-1]]}
    return _Segment(start, end, costs or {None: 0.0}, frozenset(good))


def _shortest_path(
    segments: Sequence[_Segment], candidates: Sequence[Candidate], rules: PlanRules
) -> list[str | None]:
    order = {candidate.name: rank for rank, candidate in enumerate(candidates)}
    totals: dict[str | None, float] = dict(segments[0].costs)
    origins: list[dict[str | None, str | None]] = []
    for before, after in pairwise(segments):
        reached: dict[str | None, float] = {}
        origin: dict[str | None, str | None] = {}
        for name, cost in after.costs.items():
            options = [
                (total + _join_cost(source, name, before, after, rules), order.get(source or "", -1), source)
                for source, total in totals.items()
            ]
            best = min(options, key=lambda option: option[:2])
            reached[name], origin[name] = best[0] + cost, best[2]
        totals = reached
        origins.append(origin)
    last = min(totals, key=lambda name: (totals[name], order.get(name or "", -1)))
    path = [last]
    for origin in reversed(origins):
        path.append(origin[path[-1]])
    return path[::-1]


def _join_cost(
    outgoing: str | None, incoming: str | None, before: _Segment, after: _Segment, rules: PlanRules
) -> float:
    if outgoing == incoming or outgoing is None or incoming is None:
        return 0.0
    if any(after.start in (forced.start, forced.end) for forced in rules.forced):
        # The sheet wants this join; were it dear, the punch's pass would be taken far beyond the punch.
        return 0.0
    pair = {outgoing, incoming}
    if pair <= before.good or pair <= after.good:
        return ANY_JOIN if rules.are_alike(outgoing, incoming) else DIFFERING_JOIN
    # Both sides hold the tape's own samples up to the border, so that a cut is seamless; there is just no
    # common sample to prove it by.
    return 2 * ANY_JOIN if rules.are_alike(outgoing, incoming) else BARE_CUT


def _joined_choices(segments: Sequence[_Segment], path: Sequence[str | None]) -> list[Choice]:
    choices: list[Choice] = []
    for segment, name in zip(segments, path, strict=True):
        if choices and choices[-1].name == name:
            choices[-1] = Choice(choices[-1].start, segment.end, name)
        else:
            choices.append(Choice(segment.start, segment.end, name))
    return choices
