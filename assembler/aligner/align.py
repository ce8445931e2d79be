"""A whole session aligned and planned: imported passes in, the edit out. Nothing is written."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.place.tie import tie_reels
from assembler.aligner.plan.joins import prove_join
from assembler.aligner.plan.path import (
    Candidate,
    Choice,
    Forced,
    PlanRules,
    TrackChoices,
    join_choices,
    plan_track,
)
from assembler.aligner.plan.takes import Plan, Take, check_takes, read_plan, stretches_of, takes_of
from assembler.aligner.plan.weaving import Weaving, WovenPass, braids_of
from assembler.aligner.records.edit import SLIP, DeliveredTrack, Edit, Join, Span, TrackEdit
from assembler.aligner.records.labels import stretch_label
from assembler.aligner.records.ranges import common, merged, without
from assembler.aligner.reel import compare_passes, place_passes
from assembler.aligner.tell.holdings import Holdings
from assembler.aligner.tell.outcome import Outcome, aligned_pass, find_uncured
from assembler.aligner.tell.punches import punch_notes
from assembler.aligner.tell.reel import far_notes, reel_notes
from assembler.aligner.tell.stripes import withheld_notes, withheld_tracks
from assembler.errors import SheetError
from assembler.importer import Note
from assembler.sheet import sheet_error
from assembler.timecode import day_samples, frame_rate, label_sample, nearest_day, next_after

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from pathlib import Path

    from assembler.aligner.plan.weaving import Braid
    from assembler.aligner.records.edit import Uncured
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.importer import ImportedSession
    from assembler.sheet import Punch, Sheet

THREADS = 2
"""Array operations run outside the interpreter lock; more threads than two gain little before disks are the limit."""


def align_session(
    session: ImportedSession,
    advance: Callable[[str, float], None] = lambda *_: None,
    plan_path: Path | None = None,
) -> Edit:
    """Return the edit of a session.

    Args:
        session: imported passes.
        advance: called with what is being done and the share of it that is done.
        plan_path: a plan that a person has made; it is taken in place of one that the program would make.

    Raises:
        SheetError: start, end or punches of the sheet do not fit what the passes cover; or the plan does not.
        CaptureError: a capture cannot be read.
    """
    with ThreadPoolExecutor(THREADS) as executor:
        placed = [place_passes(session, reel, advance) for reel in session.sheet.reels]
        tied = tie_reels(placed, session.sheet.session.sample_rate)
        reels = [compare_passes(reel, session.sheet, executor, advance) for reel in tied]
    tracks = delivered_tracks(session.sheet)
    braids = {reel.name: braids_of(reel) for reel in reels}
    start, end = _extent(session.sheet, reels, tracks)
    plan = (
        {}
        if plan_path is None
        else read_plan(plan_path, session.sheet, [track.name for track in tracks], (start, end))
    )
    if plan and _is_own(plan, session.sheet, reels, tracks, (start, end), braids):
        plan, plan_path = {}, None
    edits = []
    holdings = {reel.name: Holdings(reel, session.sheet) for reel in reels}
    uncured: list[Uncured] = []
    for track in tracks:
        takes = plan.get(track.name)
        if plan_path is not None and takes is not None:
            named = list(plan).index(track.name) + 1, track.name
            check_takes(plan_path, session.sheet, named, takes, _coverage(reels, track), (start, end))
        weavings = _weavings(session.sheet, reels, braids, (start, end), takes)
        edits.append(_edit_track(session.sheet, reels, track, (start, end), takes, weavings))
        uncured += find_uncured(reels, edits[-1], start, holdings, weavings)
    wired = {one.name: one for reel in reels for one in reel.wired.passes}
    passes = [aligned_pass(wired[one.name], reels, uncured, start) for one in session.passes]
    has_punches = session.sheet.repair.mode != "off" and plan_path is None
    punches = [_forced(session.sheet, p, (start, end)) for p in session.sheet.punches] if has_punches else []
    outcome = Outcome(start, tuple(edits), tuple(punches), has_plan=plan_path is not None)
    notes: list[Note] = far_notes(reels, session.sheet)
    notes += withheld_notes(session.sheet)
    notes += [note for one in session.passes for note in one.notes]
    for reel in reels:
        notes += reel_notes(reel, session.sheet, outcome, holdings[reel.name])
    notes += punch_notes(punches, reels, session.sheet)
    if plan_path is not None:
        notes.append(Note("other", f"the takes are a person's: {plan_path.name}, not the program's own plan"))
    return Edit(start, end - start, tuple(passes), tuple(edits), tuple(uncured), tuple(notes))


def _is_own(
    plan: Plan,
    sheet: Sheet,
    reels: Sequence[ExaminedReel],
    tracks: Sequence[DeliveredTrack],
    extent: Range,
    braids: Mapping[str, Sequence[Braid]],
) -> bool:
    """Return whether a plan is the one that the program makes by itself: nobody has changed it."""
    weavings = _weavings(sheet, reels, braids, extent, None)
    return all(
        list(plan[track.name])
        == takes_of(_edit_track(sheet, reels, track, extent, None, weavings), extent[0])
        for track in tracks
    )


def delivered_tracks(sheet: Sheet) -> list[DeliveredTrack]:
    """Return the tracks of the set; reels that name the same track follow one another on it.

    A tape track that carries the timecode is no track of the set unless the sheet asks for it.
    """
    numbers: dict[str, int] = {}
    places: dict[str, dict[str, int]] = {}
    number = 0
    for reel in sheet.reels:
        withheld = withheld_tracks(sheet, reel)
        for index, name in enumerate(reel.tracks):
            number += 1
            if name and index not in withheld:
                numbers.setdefault(name, number)
                places.setdefault(name, {})[reel.name] = index
    return [DeliveredTrack(numbers[name], name, places[name]) for name in numbers]


def _extent(sheet: Sheet, reels: Sequence[ExaminedReel], tracks: Sequence[DeliveredTrack]) -> Range:
    if not tracks:
        problem = (
            "no track is left to deliver: each is unused or carries the timecode; timecode_tracks = true in [deliver] "
            "delivers those"
        )
        raise SheetError(problem, file=sheet.path)
    covered = [
        piece
        for track in tracks
        for reel in reels
        if reel.name in track.tape_tracks
        for one in reel.passes
        for piece in one.covered(track.tape_tracks[reel.name])
    ]
    if not covered:
        raise SheetError("no pass can be used, so there is nothing to deliver", file=sheet.path)
    first = min(low for low, _ in covered)
    last = max(high for _, high in covered)
    session, day = sheet.session, _day(sheet)
    start = (
        first if session.start is None else nearest_day(_sample_at(sheet, session.start), first, last, day)
    )
    if session.end is None:
        end = last
    elif session.start is None:
        end = nearest_day(_sample_at(sheet, session.end), first, last, day)
    else:
        end = next_after(_sample_at(sheet, session.end), start, day)
    if end <= start:
        label = stretch_label(sheet)
        key, found = ("end", session.end) if session.end else ("start", session.start)
        allowed = f"a label within what the passes cover, {label(max(0, first), last)}"
        raise sheet_error(
            sheet, session, key, f'found "{found}", so that the set would be empty; allowed: {allowed}'
        )
    return start, end


def _sample_at(sheet: Sheet, label: str) -> int:
    return label_sample(label, frame_rate(sheet.session.frame_rate), sheet.session.sample_rate)


def _day(sheet: Sheet) -> int:
    return day_samples(frame_rate(sheet.session.frame_rate), sheet.session.sample_rate)


def _forced(sheet: Sheet, punch: Punch, extent: Range) -> Forced:
    """Return a punch on the timeline: on the day that is the set's or nearer to it, its end behind its start."""
    day = _day(sheet)
    start = nearest_day(_sample_at(sheet, punch.start), *extent, day)
    end = next_after(_sample_at(sheet, punch.end), start, day)
    fade_ms = sheet.repair.fade_ms if punch.fade_ms is None else punch.fade_ms
    return Forced(start, end, punch.pass_name, round(fade_ms * sheet.session.sample_rate / 1000))


def _edit_track(
    sheet: Sheet,
    reels: Sequence[ExaminedReel],
    track: DeliveredTrack,
    extent: Range,
    takes: Sequence[Take] | None,
    weavings: Mapping[str, Weaving],
) -> TrackEdit:
    start, end = extent
    holding = [reel for reel in reels if reel.name in track.tape_tracks]
    candidates = [
        _candidate(sheet, reel, one, track, weavings[reel.name]) for reel in holding for one in reel.passes
    ]
    names = {one.name for reel in holding for one in reel.passes}
    rules = PlanRules(
        round(sheet.repair.fade_ms * sheet.session.sample_rate / 1000),
        _alike_groups(holding, track),
        tuple(
            _forced(sheet, p, extent)
            for p in sheet.punches
            if p.pass_name in names and sheet.repair.mode != "off"
        ),
        heed_flaws=sheet.repair.mode == "auto",
    )
    if takes is None:
        planned = plan_track(candidates, rules, start, end)
    else:
        planned = _planned_by_hand(takes, candidates, rules.fade_samples, extent)
    sources = {
        one.name: _Source(one, track.tape_tracks[reel.name], weavings[reel.name])
        for reel in holding
        for one in reel.passes
    }
    read = {name: (WovenPass(name, source.weaving), source.tape_track) for name, source in sources.items()}
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


def _coverage(reels: Sequence[ExaminedReel], track: DeliveredTrack) -> dict[str, list[Range]]:
    """Return what each pass holds of a delivered track."""
    return {
        one.name: merged(one.covered(track.tape_tracks[reel.name]))
        for reel in reels
        if reel.name in track.tape_tracks
        for one in reel.passes
    }


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


def _weavings(
    sheet: Sheet,
    reels: Sequence[ExaminedReel],
    braids: Mapping[str, Sequence[Braid]],
    extent: Range,
    takes: Sequence[Take] | None,
) -> dict[str, Weaving]:
    """Return what may be woven of each reel on a track: nothing that a person has asked for as it is."""
    bare: dict[str, list[Range]] = {}
    if takes is not None:
        for take, low, high in stretches_of(takes, extent):
            if take.pass_name and not take.woven:
                bare.setdefault(take.pass_name, []).append((low, high))
    else:
        for punch in (_forced(sheet, punch, extent) for punch in sheet.punches):
            bare.setdefault(punch.name, []).append((punch.start, punch.end))
    is_wanted = takes is not None or sheet.repair.mode == "auto"
    return {reel.name: Weaving(reel, braids[reel.name] if is_wanted else (), bare) for reel in reels}


def _candidate(
    sheet: Sheet, reel: ExaminedReel, one: PlacedPass, track: DeliveredTrack, weaving: Weaving
) -> Candidate:
    tape_track = track.tape_tracks[reel.name]
    wanted = None if sheet.repair.scope == "reel" else tape_track
    # What other passes fill is right.
    found = [
        (piece, flaw.kind)
        for flaw in reel.findings.flaws
        if flaw.pass_name == one.name and wanted in (None, flaw.track)
        for piece in weaving.unwoven(one.name, flaw.track, (flaw.start, flaw.end))
    ]
    unproved = _unproved(reel, one, tape_track, sheet)
    flaws = merged([*(piece for piece, _ in found), *unproved])
    # What a slip leaves in doubt may be right; what is flawed besides is not.
    beside = merged(piece for places, _ in one.maps[tape_track].doubts() for piece in places)
    certain = [piece for piece, kind in found if kind != "disagreement"]
    doubted = without(common(beside, flaws), merged([*certain, *unproved]))
    covered = one.covered(tape_track)
    if sheet.repair.scope == "reel":
        # All tracks change together, so a pass counts only where it has all of them.
        for other in range(one.reader.tracks):
            covered = common(covered, one.covered(other))
    return Candidate(one.name, reel.name, tuple(covered), tuple(flaws), tuple(doubted))


def _unproved(reel: ExaminedReel, one: PlacedPass, tape_track: int, sheet: Sheet) -> list[Range]:
    """Return where a pass that is nowhere identical with another one must not stand in for it on a track.

    It holds other numbers than the tape; a punch or a person's plan may still ask for it, and where it is
    alone it is all there is. A witness may stand in for better passes where each of these is flawed, and beside
    that for as long as a fade takes.
    """
    covered = {p.name: p.covered(tape_track) for p in reel.passes if p.covered(tape_track)}
    if one.name not in covered:
        return []
    rank = reel.findings.by_standing(list(covered), tape_track)
    above = [o for o in rank[: rank.index(one.name)] if reel.findings.are_unlike(o, one.name, tape_track)]
    barring = merged(piece for other in above for piece in covered[other])
    if sheet.repair.unlike == "cure" and (one.name, tape_track) in reel.findings.witnesses:
        fade = round(sheet.repair.fade_ms * sheet.session.sample_rate / 1000)
        wanted = None if sheet.repair.scope == "reel" else tape_track
        barring = without(barring, _wanting(reel, above, wanted, covered, fade))
    return common(covered[one.name], barring)


def _wanting(
    reel: ExaminedReel,
    names: Sequence[str],
    wanted: int | None,
    covered: Mapping[str, Sequence[Range]],
    fade: int,
) -> list[Range]:
    """Return where none of some passes has a track right, all tracks for None, with room for a fade on either side."""
    right = merged(
        piece
        for name in names
        for piece in without(
            covered[name],
            merged(
                (f.start, f.end)
                for f in reel.findings.flaws
                if f.pass_name == name and wanted in (None, f.track)
            ),
        )
    )
    held = merged(piece for name in names for piece in covered[name])
    return merged((start - fade, end + fade) for start, end in without(held, right))


def _alike_groups(holding: Iterable[ExaminedReel], track: DeliveredTrack) -> dict[str, int]:
    """Return a number for each pass; passes with one number hold identical samples of a track where both are good."""
    groups: dict[str, int] = {}
    for reel in holding:
        tape_track = track.tape_tracks[reel.name]
        first = len(groups)
        for number, one in enumerate(reel.passes):
            alike = [
                groups[other.name]
                for other in reel.passes[:number]
                if reel.groups[other.name] == reel.groups[one.name]
                and not reel.findings.are_unlike(other.name, one.name, tape_track)
            ]
            groups[one.name] = alike[0] if alike else first + number
    return groups
