"""A whole session aligned and planned: imported passes in, the edit out. Nothing is written."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.edit import (
    SLIP,
    AlignedPass,
    DeliveredTrack,
    Edit,
    Join,
    PassFlaw,
    Span,
    TrackEdit,
    Uncured,
)
from assembler.aligner.examining import compare_passes, place_passes
from assembler.aligner.joining import prove_join
from assembler.aligner.planfile import Take, read_plan
from assembler.aligner.planning import (
    Candidate,
    Choice,
    Forced,
    PlanRules,
    TrackChoices,
    join_choices,
    plan_track,
)
from assembler.aligner.ranges import common, merged, without
from assembler.aligner.tellings import far_notes, punch_notes, reel_notes
from assembler.aligner.tying import tie_reels
from assembler.errors import PlanError, SheetError
from assembler.importer import Note
from assembler.timecode import frame_rate, frame_to_sample, parse_label

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from pathlib import Path

    from assembler.aligner.examining import ExaminedReel
    from assembler.aligner.findings import PlacedPass
    from assembler.aligner.ranges import Range
    from assembler.aligner.timemap import TimeMap
    from assembler.importer import ImportedPass, ImportedSession
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
    start, end = _extent(session.sheet, reels, tracks)
    plan = {} if plan_path is None else read_plan(plan_path, session.sheet, start)
    edits = []
    for track in tracks:
        try:
            edits.append(_edit_track(session.sheet, reels, track, (start, end), plan.get(track.name)))
        except PlanError as error:
            raise SheetError(f"track {track.name}: {error}", file=plan_path) from error
    uncured = [place for edit in edits for place in _uncured(reels, edit, start)]
    wired = {one.name: one for reel in reels for one in reel.wired.passes}
    passes = [_aligned_pass(wired[one.name], reels, uncured, start) for one in session.passes]
    notes: list[Note] = far_notes(reels, session.sheet)
    notes += [note for one in session.passes for note in one.notes]
    for reel in reels:
        notes += reel.notes
        notes += reel_notes(reel.passes, reel.findings, session.sheet, reel.reel.tracks)
    if session.sheet.repair.mode != "off" and plan_path is None:
        punches = [_forced(session.sheet, punch, start) for punch in session.sheet.punches]
        notes += punch_notes(punches, passes, session.sheet)
    if plan_path is not None:
        notes.append(Note("other", f"the takes are a person's: {plan_path.name}, not the program's own plan"))
    return Edit(start, end - start, tuple(passes), tuple(edits), tuple(uncured), tuple(notes))


def delivered_tracks(sheet: Sheet) -> list[DeliveredTrack]:
    """Return the tracks of the set; reels that name the same track follow one another on it.

    A tape track that carries the timecode is no track of the set unless the sheet asks for it.
    """
    numbers: dict[str, int] = {}
    places: dict[str, dict[str, int]] = {}
    number = 0
    for reel in sheet.reels:
        stripes = {
            one.timecode.value
            for one in sheet.passes
            if one.reel == reel.name and one.timecode.kind == "ltc_track"
        }
        for index, name in enumerate(reel.tracks):
            number += 1
            if name and (index + 1 not in stripes or sheet.deliver.timecode_tracks):
                numbers.setdefault(name, number)
                places.setdefault(name, {})[reel.name] = index
    return [DeliveredTrack(numbers[name], name, places[name]) for name in numbers]


def _extent(sheet: Sheet, reels: Sequence[ExaminedReel], tracks: Sequence[DeliveredTrack]) -> Range:
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
    start = first if sheet.session.start is None else _sample_at(sheet, sheet.session.start, first)
    last = max(high for _, high in covered)
    end = last if sheet.session.end is None else _sample_at(sheet, sheet.session.end, start)
    if end <= start:
        raise SheetError(
            f"the set would be empty: it starts at sample {start} and ends at {end} of the timeline",
            file=sheet.path,
            key="session.end" if sheet.session.end else "session.start",
        )
    return start, end


def _sample_at(sheet: Sheet, label: str, near: int) -> int:
    """Return the timeline sample of a label; past midnight where that is nearer to the session."""
    rate = frame_rate(sheet.session.frame_rate)
    sample = frame_to_sample(parse_label(label, rate), rate, sheet.session.sample_rate)
    day = round(rate.frames_per_day * sheet.session.sample_rate / rate.exact)
    return sample + day if near - sample > day / 2 else sample


def _forced(sheet: Sheet, punch: Punch, near: int) -> Forced:
    start, end = _sample_at(sheet, punch.start, near), _sample_at(sheet, punch.end, near)
    fade_ms = sheet.repair.fade_ms if punch.fade_ms is None else punch.fade_ms
    return Forced(start, end, punch.pass_name, round(fade_ms * sheet.session.sample_rate / 1000))


def _edit_track(
    sheet: Sheet,
    reels: Sequence[ExaminedReel],
    track: DeliveredTrack,
    extent: Range,
    takes: Sequence[Take] | None,
) -> TrackEdit:
    start, end = extent
    holding = [reel for reel in reels if reel.name in track.tape_tracks]
    candidates = [_candidate(sheet, reel, one, track) for reel in holding for one in reel.passes]
    names = {one.name for reel in holding for one in reel.passes}
    rules = PlanRules(
        round(sheet.repair.fade_ms * sheet.session.sample_rate / 1000),
        _alike_groups(holding, track),
        tuple(
            _forced(sheet, p, start)
            for p in sheet.punches
            if p.pass_name in names and sheet.repair.mode != "off"
        ),
        heed_flaws=sheet.repair.mode == "auto",
    )
    if takes is None:
        planned = plan_track(candidates, rules, start, end)
    else:
        planned = _planned_by_hand(takes, candidates, rules.fade_samples, extent)
    sources = {one.name: (one, track.tape_tracks[reel.name]) for reel in holding for one in reel.passes}
    joins = [
        prove_join(join, sources.get(join.outgoing or ""), sources.get(join.incoming or ""))
        for join in planned.joins
    ]
    borders = [start, *(join.at for join in joins), end]
    spans: list[Span] = []
    between: list[Join] = []
    for index, (choice, (low, high)) in enumerate(zip(planned.choices, pairwise(borders), strict=True)):
        if index:
            between.append(joins[index - 1])
        pieces = _spans(choice, sources, low, high)
        between += [Join(piece.start, 0, SLIP, 0.0, 0) for piece in pieces[1:]]
        spans += pieces
    return TrackEdit(
        track,
        tuple(Span(s.start - start, s.end - start, s.pass_name, s.pass_start) for s in spans),
        tuple(Join(j.at - start, j.fade, j.law, j.correlation, j.difference_peak) for j in between),
    )


def _planned_by_hand(
    takes: Sequence[Take], candidates: Sequence[Candidate], fade: int, extent: Range
) -> TrackChoices:
    """Return a person's takes as choices, cut to the set; silence before the first one."""
    start, end = extent
    listed = [Take(min(start, takes[0].at), None), *takes, Take(max(end, takes[-1].at), None)]
    choices, fades = [], []
    for take, following in pairwise(listed):
        low, high = max(start, take.at), min(end, following.at)
        if low < high:
            choices.append(Choice(low, high, take.pass_name))
            fades.append(fade if take.fade is None else take.fade)
    return join_choices(choices, fades[1:], candidates)


def _spans(choice: Choice, sources: Mapping[str, tuple[PlacedPass, int]], low: int, high: int) -> list[Span]:
    if choice.name is None:
        return [Span(low, high, None)]
    one, tape_track = sources[choice.name]
    pieces = one.maps[tape_track].covering(low, high)
    return [Span(p.timeline_start, p.timeline_end, choice.name, p.pass_start) for p in pieces]


def _candidate(sheet: Sheet, reel: ExaminedReel, one: PlacedPass, track: DeliveredTrack) -> Candidate:
    tape_track = track.tape_tracks[reel.name]
    wanted = None if sheet.repair.scope == "reel" else tape_track
    flaws = [
        (flaw.start, flaw.end)
        for flaw in reel.findings.flaws
        if flaw.pass_name == one.name and wanted in (None, flaw.track)
    ]
    flaws += _unproved(reel, one, tape_track)
    covered = one.covered(tape_track)
    if sheet.repair.scope == "reel":
        # All tracks change together, so a pass counts only where it has all of them.
        for other in range(one.reader.tracks):
            covered = common(covered, one.covered(other))
    return Candidate(one.name, reel.name, tuple(covered), tuple(merged(flaws)))


def _unproved(reel: ExaminedReel, one: PlacedPass, tape_track: int) -> list[Range]:
    """Return where a pass that is nowhere identical with another one must not stand in for it on a track.

    It holds other numbers than the tape; a punch or a person's plan may still ask for it, and where it is
    alone it is all there is. Of two such passes the one stands that more others are identical with, then the more
    trusted one.
    """
    support = {
        p.name: sum(
            not reel.findings.are_unlike(p.name, q.name, tape_track)
            for q in reel.passes
            if q.covered(tape_track)
        )
        for p in reel.passes
    }
    rank = [p.name for p in sorted(reel.passes, key=lambda p: -support[p.name])]
    better = [p for p in reel.passes if rank.index(p.name) < rank.index(one.name)]
    barring = [
        piece
        for other in better
        if reel.findings.are_unlike(other.name, one.name, tape_track)
        for piece in other.covered(tape_track)
    ]
    return common(one.covered(tape_track), merged(barring))


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


def _uncured(reels: Sequence[ExaminedReel], edit: TrackEdit, start: int) -> list[Uncured]:
    found: list[Uncured] = []
    for reel in reels:
        tape_track = edit.track.tape_tracks.get(reel.name)
        if tape_track is None:
            continue
        for span in edit.spans:
            here = (span.start + start, span.end + start)
            if span.pass_name is None:
                bad = _missing(reel, tape_track, here)
            else:
                bad = [
                    (low, high, flaw.kind)
                    for flaw in reel.findings.flaws
                    if flaw.pass_name == span.pass_name and flaw.track == tape_track
                    for low, high in common([here], [(flaw.start, flaw.end)])
                ]
            found += [
                Uncured(reel.name, edit.track, low - start, high - start, kind) for low, high, kind in bad
            ]
    return sorted(found, key=lambda place: (place.start, place.end, place.kind))


def _missing(reel: ExaminedReel, tape_track: int, silence: Range) -> list[tuple[int, int, str]]:
    """Return where a track is silent between the reel's first and last sample: lost in a slip, or held by no pass."""
    held = merged(piece for one in reel.passes for t in range(one.reader.tracks) for piece in one.covered(t))
    outer = [(held[0][0], held[-1][1])] if held else []
    lost = [
        (a.timeline_end, b.timeline_start)
        for one in reel.passes
        for a, b in pairwise(one.maps[tape_track].stretches)
        if a.timeline_end < b.timeline_start
    ]
    slipped = common([silence], merged(lost))
    absent = common(without([silence], slipped), outer)
    return [(a, b, "slip") for a, b in slipped] + [(a, b, "missing") for a, b in absent]


def _aligned_pass(
    one: ImportedPass,
    reels: Sequence[ExaminedReel],
    uncured: Sequence[Uncured],
    start: int,
) -> AlignedPass:
    reel = next(reel for reel in reels if reel.name == one.reel)
    time_map = reel.maps.get(one.name)
    if time_map is None:
        return AlignedPass(one, None, ())
    open_places = _open_places(one.reel, uncured, start)
    flaws = []
    for flaw in reel.findings.flaws:
        if flaw.pass_name == one.name:
            cured = not common(open_places.get(flaw.track, []), [(flaw.start, flaw.end)])
            ranges = time_map.pass_ranges(flaw.start, flaw.end)
            flaws += [PassFlaw(flaw.kind, low, high, (flaw.track,), cured) for low, high in ranges]
    return AlignedPass(one, time_map, tuple(_grouped(flaws + _slip_flaws(one, time_map, open_places))))


def _slip_flaws(
    one: ImportedPass, time_map: TimeMap, open_places: Mapping[int, list[Range]]
) -> list[PassFlaw]:
    tracks = tuple(range(one.audio.tracks))
    found = []
    for before, after in pairwise(time_map.stretches):
        gap = [(before.timeline_end, after.timeline_start)]
        cured = not any(common(places, gap) for places in open_places.values())
        samples = after.shift - before.shift
        found.append(PassFlaw("slip", after.pass_start, after.pass_start, tracks, cured, samples))
    return found


def _open_places(reel: str, uncured: Sequence[Uncured], start: int) -> dict[int, list[Range]]:
    """Return, for each tape track of a reel, the timeline ranges that no pass has right."""
    places: dict[int, list[Range]] = {}
    for place in uncured:
        if place.reel == reel:
            ranges = places.setdefault(place.track.tape_tracks[reel], [])
            ranges.append((place.start + start, place.end + start))
    return {track: merged(ranges) for track, ranges in places.items()}


GROUP_SAMPLES = 64
"""Flaws of one kind that begin and end within this many samples of each other on several tracks are one."""


def _grouped(flaws: Iterable[PassFlaw]) -> list[PassFlaw]:
    grouped: list[PassFlaw] = []
    for flaw in sorted(flaws, key=lambda f: (f.start, f.end, f.kind)):
        mate = next(
            (
                i
                for i, other in enumerate(grouped)
                if other.kind == flaw.kind != "slip"
                and abs(other.start - flaw.start) <= GROUP_SAMPLES
                and abs(other.end - flaw.end) <= GROUP_SAMPLES
                and not set(other.tracks) & set(flaw.tracks)
            ),
            None,
        )
        if mate is None:
            grouped.append(flaw)
            continue
        other = grouped[mate]
        grouped[mate] = PassFlaw(
            flaw.kind,
            min(other.start, flaw.start),
            max(other.end, flaw.end),
            tuple(sorted(other.tracks + flaw.tracks)),
            other.cured and flaw.cured,
        )
    return grouped
