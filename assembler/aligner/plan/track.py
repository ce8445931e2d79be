"""Each delivered track planned: candidates, the path or a person's takes, joins with evidence, then spans.

Positions are timeline samples, but for those of the track's edit, which count from the set's first one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.plan.hand.takes import stretches_of
from assembler.aligner.plan.joins.prove import prove_join
from assembler.aligner.plan.joins.settle import join_choices
from assembler.aligner.plan.path.cheapest import plan_track
from assembler.aligner.plan.path.choices import Choice, PlanRules, alike_groups, candidate_of, fade_of
from assembler.aligner.plan.weaving import weavings_of
from assembler.aligner.records.edit import SLIP, Join, Span, TrackEdit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.plan.hand.takes import Plan, Take
    from assembler.aligner.plan.path.choices import Candidate, Forced, TrackChoices
    from assembler.aligner.plan.weaving import Braid, Weaving
    from assembler.aligner.records.edit import DeliveredTrack
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet


@dataclass(frozen=True)
class Material:
    """What a plan is made from.

    Args:
        sheet: the session.
        reels: placed and compared.
        tracks: of the set.
        extent: first sample of the set, and the first one after it.
        braids: woven stretches of each reel, by its name.
    """

    sheet: Sheet
    reels: Sequence[ExaminedReel]
    tracks: Sequence[DeliveredTrack]
    extent: Range
    braids: Mapping[str, Sequence[Braid]]


@dataclass(frozen=True)
class PlannedTrack:
    """A delivered track planned: its edit, and by reel what of it may be woven."""

    edit: TrackEdit
    weavings: Mapping[str, Weaving]


def plan_tracks(material: Material, forced: Sequence[Forced], plan: Plan | None = None) -> list[PlannedTrack]:
    """Return every track planned.

    Args:
        material: what it is made from.
        forced: what the sheet takes from named passes; of no meaning where a person has made the plan.
        plan: a person's takes of the tracks that they changed; None where the program plans.
    """
    return [plan_one(material, track, forced, plan) for track in material.tracks]


def plan_one(
    material: Material, track: DeliveredTrack, forced: Sequence[Forced], plan: Plan | None = None
) -> PlannedTrack:
    """Return one track planned; all else as for ``plan_tracks``."""
    takes = None if plan is None else plan.get(track.name)
    own = [one for one in forced if one.is_on(track.name)]
    sheet, extent = material.sheet, material.extent
    weavings = weavings_of(sheet, material.reels, material.braids, extent, takes, own)
    holding = [reel for reel in material.reels if reel.name in track.tape_tracks]
    candidates = [
        candidate_of(sheet, reel, one, track, weavings[reel.name]) for reel in holding for one in reel.passes
    ]
    sources = {
        one.name: _Source(one, track.tape_tracks[reel.name], weavings[reel.name])
        for reel in holding
        for one in reel.passes
    }
    rules = PlanRules(
        fade_of(sheet),
        alike_groups(holding, track),
        tuple(one for one in own if one.name in sources),
        heed_flaws=sheet.repair.mode == "auto",
    )
    if takes is None:
        planned = plan_track(candidates, rules, *extent)
    else:
        planned = _planned_by_hand(takes, candidates, rules.fade_samples, extent)
    return PlannedTrack(_edited(track, planned, sources, extent), weavings)


def _edited(
    track: DeliveredTrack, planned: TrackChoices, sources: Mapping[str, _Source], extent: Range
) -> TrackEdit:
    """Return what is planned as joins with evidence and spans, counted from the set's first sample."""
    start, end = extent
    read = {name: partial(one.weaving.samples, name, one.tape_track) for name, one in sources.items()}
    joins = [
        prove_join(join, read.get(join.outgoing or ""), read.get(join.incoming or ""))
        for join in planned.joins
    ]
    borders = [start, *(join.at for join in joins), end]
    spans: list[Span] = []
    between: list[Join] = []
    for index, (choice, (low, high)) in enumerate(zip(planned.choices, pairwise(borders), strict=True)):
        if index:
            between.append(joins[index - 1])
        early = joins[index - 1].fade // 2 if index else 0
        late = joins[index].fade - joins[index].fade // 2 if index < len(joins) else 0
        pieces = _spans(choice, sources, (low, high), (low - early, high + late))
        between += [Join(piece.start, 0, SLIP, 0.0, 0) for piece in pieces[1:]]
        spans += pieces
    return TrackEdit(
        track,
        tuple(replace(s, start=s.start - start, end=s.end - start) for s in spans),
        tuple(Join(j.at - start, j.fade, j.law, j.correlation, j.difference_peak) for j in between),
    )


def _planned_by_hand(
    takes: Sequence[Take], candidates: Sequence[Candidate], fade: int, extent: Range
) -> TrackChoices:
    """Return a person's takes as choices, cut to the set; silence before the first one."""
    stretches = stretches_of(takes, extent)
    choices = [Choice(low, high, take.pass_name) for take, low, high in stretches]
    fades = [fade if take.fade is None else take.fade for take, _, _ in stretches]
    return join_choices(choices, fades[1:], candidates)


@dataclass(frozen=True)
class _Source:
    one: PlacedPass
    tape_track: int
    weaving: Weaving


def _spans(choice: Choice, sources: Mapping[str, _Source], place: Range, heard: Range) -> list[Span]:
    """Return a choice as spans, one for each stretch of its pass; ``heard`` is the place with the fades around it."""
    if choice.name is None:
        return [Span(*place, None)]
    source = sources[choice.name]
    spans = []
    for piece in source.one.maps[source.tape_track].covering(*place):
        low = heard[0] if piece.timeline_start == place[0] else piece.timeline_start
        high = heard[1] if piece.timeline_end == place[1] else piece.timeline_end
        filled = source.weaving.fills(choice.name, source.tape_track, (low, high), piece.timeline_start)
        spans.append(Span(piece.timeline_start, piece.timeline_end, choice.name, piece.pass_start, filled))
    return spans
