"""The plan: which pass each stretch of a delivered track is taken from, and where they join.

Choosing is a shortest path over the stretches between all borders (where a pass begins, ends, or is flawed).
In order of weight: a flawed sample, a join without common good samples, a join of sides that differ, any join at
all, and a sample from a less trusted pass. The weights are so far apart that no number of lesser evils in a
session of a day outweighs one greater. Pure: ranges in, spans and joins out; positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.plan.limits import (
    ANY_JOIN,
    BARE_CUT,
    DIFFERING_JOIN,
    DOUBTED_SAMPLE,
    FLAWED_SAMPLE,
    GUARD_SAMPLES,
    TRUST_PER_SAMPLE,
)
from assembler.aligner.records.ranges import common, merged, ranges_at, without
from assembler.errors import PlanError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.records.ranges import Range


@dataclass(frozen=True)
class Candidate:
    """One pass that a track may be taken from.

    Args:
        name: of the pass.
        reel: its reel.
        covered: timeline ranges it has samples for, in order.
        flawed: timeline ranges in which it is not what the tape holds, in order.
        doubted: the flawed ranges in which only the place of its samples is in doubt, in order.
    """

    name: str
    reel: str
    covered: tuple[Range, ...]
    flawed: tuple[Range, ...] = ()
    doubted: tuple[Range, ...] = ()

    @cached_property
    def good(self) -> list[Range]:
        """The covered ranges less the flawed ones."""
        return without(self.covered, self.flawed)


@dataclass(frozen=True)
class Forced:
    """A stretch that the sheet takes from a named pass (a punch)."""

    start: int
    end: int
    name: str
    fade_samples: int


@dataclass(frozen=True)
class Choice:
    """A stretch of a delivered track and the pass it comes from; None is silence."""

    start: int
    end: int
    name: str | None


@dataclass(frozen=True)
class PlannedJoin:
    """Where two choices meet.

    Args:
        at: the border that the path chose, then moved to where the join can be made.
        fade: length of the fade that would be made if the sides differ; 0 for a cut.
        outgoing: pass before, or None for silence.
        incoming: pass behind, or None for silence.
        room: range in which both sides have samples to join by; the fade lies inside it.
        is_movable: whether a better place nearby may be taken; a person's own places stay.
    """

    at: int
    fade: int
    outgoing: str | None
    incoming: str | None
    room: Range
    is_movable: bool = True


@dataclass(frozen=True)
class TrackChoices:
    """What the path gives: choices in order without gaps, and one join for each border between them."""

    choices: tuple[Choice, ...]
    joins: tuple[PlannedJoin, ...]


@dataclass(frozen=True)
class PlanRules:
    """What the path may assume.

    Args:
        fade_samples: wished length of a fade.
        alike: names of passes that hold identical samples wherever both are good, as sets.
        forced: punches in order; where two overlap the later one wins (no sheet has two that contradict).
        heed_flaws: False where the sheet wants its punches only.
    """

    fade_samples: int
    alike: Mapping[str, int] = field(default_factory=dict)
    forced: tuple[Forced, ...] = ()
    heed_flaws: bool = True

    def are_alike(self, first: str, second: str) -> bool:
        """Return whether two passes hold identical samples where both are good."""
        return first in self.alike and self.alike[first] == self.alike.get(second)


def plan_track(candidates: Sequence[Candidate], rules: PlanRules, start: int, end: int) -> TrackChoices:
    """Return the choices and joins of one track from ``start`` to ``end``.

    Args:
        candidates: passes in the order of trust.
        rules: fades, likeness, punches.
        start: the set's first sample.
        end: first sample behind the set.
    """
    segments = _segments(candidates, rules, start, end)
    path = _shortest_path(segments, candidates, rules)
    choices = _joined_choices(segments, path)
    return _settle(choices, candidates, rules)


@dataclass(frozen=True)
class _Segment:
    start: int
    end: int
    costs: Mapping[str | None, float]
    good: frozenset[str]


def _segments(candidates: Sequence[Candidate], rules: PlanRules, start: int, end: int) -> list[_Segment]:
    edges = {start, end}
    for candidate in candidates:
        for low, high in (*candidate.covered, *candidate.flawed, *candidate.doubted):
            edges.update((low, high))
    for forced in rules.forced:
        edges.update((forced.start, forced.end))
    inside = sorted(edge for edge in edges if start <= edge <= end)
    cursors = [(_Cursor(c.covered), _Cursor(c.flawed), _Cursor(c.doubted)) for c in candidates]
    return [_segment(candidates, cursors, rules, low, high) for low, high in pairwise(inside)]


class _Cursor:
    """Answers whether ranges hold a sample, for samples asked in rising order."""

    def __init__(self, ranges: Sequence[Range]) -> None:
        self._ranges = merged(ranges)
        self._at = 0

    def holds(self, sample: int) -> bool:
        while self._at < len(self._ranges) and self._ranges[self._at][1] <= sample:
            self._at += 1
        return self._at < len(self._ranges) and self._ranges[self._at][0] <= sample


def _segment(
    candidates: Sequence[Candidate],
    cursors: Sequence[tuple[_Cursor, _Cursor, _Cursor]],
    rules: PlanRules,
    start: int,
    end: int,
) -> _Segment:
    costs: dict[str | None, float] = {}
    good = set()
    for rank, (candidate, (covered, flawed, doubted)) in enumerate(zip(candidates, cursors, strict=True)):
        is_flawed = flawed.holds(start)
        if not covered.holds(start):
            continue
        price = DOUBTED_SAMPLE if doubted.holds(start) else FLAWED_SAMPLE
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


def join_choices(
    choices: Sequence[Choice], fades: Sequence[int], candidates: Sequence[Candidate]
) -> TrackChoices:
    """Return choices that a person made, with a join at each border; no border is moved.

    Args:
        choices: in order, without gaps.
        fades: wished length of the fade at each border.
        candidates: passes in the order of trust.

    Raises:
        PlanError: a choice names a pass that does not cover it; the message names the first such place.
    """
    by_name = {candidate.name: candidate for candidate in candidates}
    for choice in choices:
        gaps = without([(choice.start, choice.end)], by_name[choice.name].covered) if choice.name else []
        if gaps:
            raise PlanError(
                f"{choice.name} has nothing from sample {gaps[0][0]} to {gaps[0][1]} of the timeline"
            )
    joins = []
    for (before, after), wished in zip(pairwise(choices), fades, strict=True):
        border = after.start
        if before.name is None or after.name is None:
            joins.append(PlannedJoin(border, 0, before.name, after.name, (border, border)))
            continue
        sides = by_name[before.name], by_name[after.name]
        limits = ((before.start + border + 1) // 2, (border + after.end) // 2)
        low, high = _room(*sides, border, limits, only_good=True)
        if low == high:
            low, high = _room(*sides, border, limits, only_good=False)
        fade = min(wished, 2 * min(border - low, high - border))
        if fade == 0:
            # Without a fade nothing is mixed, and what the sides hold is compared on both sides of the border.
            low, high = _room(*sides, border, limits, only_good=False)
        joins.append(PlannedJoin(border, fade, before.name, after.name, (low, high), is_movable=False))
    return TrackChoices(tuple(choices), tuple(joins))


def _settle(choices: Sequence[Choice], candidates: Sequence[Candidate], rules: PlanRules) -> TrackChoices:
    """Move each border to where its join can be made, never past the middle of a neighbouring choice."""
    by_name = {candidate.name: candidate for candidate in candidates}
    joins = []
    for before, after in pairwise(choices):
        limits = (
            before.start if before is choices[0] else (before.start + before.end + 1) // 2,
            after.end if after is choices[-1] else (after.start + after.end) // 2,
        )
        joins.append(_settle_join(before, after, by_name, rules, limits))
    borders = [choices[0].start, *(join.at for join in joins), choices[-1].end]
    settled = [Choice(low, high, c.name) for c, (low, high) in zip(choices, pairwise(borders), strict=True)]
    return TrackChoices(tuple(settled), tuple(joins))


def _settle_join(
    before: Choice, after: Choice, by_name: Mapping[str, Candidate], rules: PlanRules, limits: Range
) -> PlannedJoin:
    border = after.start
    if before.name is None or after.name is None:
        return PlannedJoin(border, 0, before.name, after.name, (border, border))
    outgoing, incoming = by_name[before.name], by_name[after.name]
    punch = next((f for f in rules.forced if border in (f.start, f.end)), None)
    low, high = _room(outgoing, incoming, border, limits, only_good=punch is None)
    wished = rules.fade_samples
    if punch is not None:
        wished = punch.fade_samples
        if wished:
            # A punch is taken whole from its pass: the fade lies outside it.
            low, high = (low, border) if border == punch.start else (border, high)
    elif rules.are_alike(before.name, after.name):
        border = _guarded(border, low, high)
    fade = min(wished, high - low)
    start = min(max(low, border - fade // 2), high - fade)
    return PlannedJoin(
        start + fade // 2, fade, before.name, after.name, (low, high), is_movable=punch is None
    )


def _room(outgoing: Candidate, incoming: Candidate, border: int, limits: Range, *, only_good: bool) -> Range:
    """Return the range around (or beside) the border in which both sides have samples to join by."""
    sides = (outgoing.good, incoming.good) if only_good else (outgoing.covered, incoming.covered)
    # Ranges that touch stay apart: each lies in one stretch of its pass, so that both sides of a fade run on.
    for low, high in common(*(ranges_at(side, border) for side in sides)):
        if low <= border <= high:
            return max(low, limits[0]), min(high, limits[1])
    return border, border


def _guarded(border: int, low: int, high: int) -> int:
    """Return the border, moved into the room so that it keeps clear of the room's nearer end."""
    if high - low <= 2 * GUARD_SAMPLES:
        return (low + high) // 2
    return min(max(border, low + GUARD_SAMPLES), high - GUARD_SAMPLES)
