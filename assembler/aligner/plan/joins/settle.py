"""Where two choices can be joined: borders moved to where both sides have samples to join by.

A border that a person has chosen stays where it is. Pure; positions are timeline samples.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.plan.limits import GUARD_SAMPLES
from assembler.aligner.plan.path.choices import Candidate, Choice, PlannedJoin, PlanRules, TrackChoices
from assembler.aligner.records.ranges import common, ranges_at

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.records.ranges import Range


def join_choices(
    choices: Sequence[Choice], fades: Sequence[int], candidates: Sequence[Candidate]
) -> TrackChoices:
    """Return choices that a person made, each from a pass that covers it, with a join at each border; none is moved."""
    by_name = {candidate.name: candidate for candidate in candidates}
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


def settle_choices(
    choices: Sequence[Choice], candidates: Sequence[Candidate], rules: PlanRules
) -> TrackChoices:
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
