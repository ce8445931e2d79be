"""Where the set begins and ends, where the sheet's labels lie on the timeline, and what was never recorded.

Silence there is no flaw, and nothing of the tape's is in doubt.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil
from typing import TYPE_CHECKING

from assembler.aligner.plan.path.choices import Forced, fade_of
from assembler.aligner.records.findings import QUIET_KINDS
from assembler.aligner.records.ranges import merged
from assembler.aligner.records.reel import stretch_label
from assembler.errors import SheetError
from assembler.sheet import sheet_error
from assembler.timecode import day_samples, frame_rate, label_sample, nearest_day, next_after
from assembler.verdict.signed import Acceptance, UnrecordedStretch

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.edit import DeliveredTrack
    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import ReelStretch, Sheet


def extent_of_set(sheet: Sheet, reels: Sequence[ExaminedReel], tracks: Sequence[DeliveredTrack]) -> Range:
    """Return the first sample of the set and the first one after it: what passes cover, or what the sheet says.

    Raises:
        SheetError: no track is delivered, no pass can be used, or the sheet's labels leave nothing.
    """
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


def stretch_on_timeline(sheet: Sheet, stretch: ReelStretch, extent: Range) -> Range:
    """Return a stretch on the timeline: on the day that is the set's or nearer to it, its end after its start."""
    day = _day(sheet)
    start = nearest_day(_sample_at(sheet, stretch.start), *extent, day)
    return start, next_after(_sample_at(sheet, stretch.end), start, day)


def frame_samples(sheet: Sheet) -> int:
    """Return the samples of a frame, a fraction counted as one."""
    return ceil(sheet.session.sample_rate / frame_rate(sheet.session.frame_rate).exact)


def stretch_tracks(sheet: Sheet, stretch: ReelStretch) -> tuple[int, ...]:
    """Return the tape tracks, from 0, that a stretch means."""
    reel = next(reel for reel in sheet.reels if reel.name == stretch.reel)
    wanted = reel.tracks if stretch.tracks is None else stretch.tracks
    return tuple(track for track, name in enumerate(reel.tracks) if name and name in wanted)


def _sample_at(sheet: Sheet, label: str) -> int:
    return label_sample(label, frame_rate(sheet.session.frame_rate), sheet.session.sample_rate)


def _day(sheet: Sheet) -> int:
    return day_samples(frame_rate(sheet.session.frame_rate), sheet.session.sample_rate)


def punches_of(sheet: Sheet, extent: Range) -> tuple[Forced, ...]:
    """Return the punches of a sheet on the timeline, in order; none where nothing is to be repaired."""
    if sheet.repair.mode == "off":
        return ()
    return tuple(
        Forced(
            *stretch_on_timeline(sheet, punch, extent),
            punch.pass_name,
            fade_of(sheet, punch.fade_ms),
            None if punch.tracks is None else frozenset(punch.tracks),
        )
        for punch in sheet.punches
    )


def accepted_of(sheet: Sheet, extent: Range) -> tuple[Acceptance, ...]:
    """Return the accepted places of a sheet on the timeline, in order."""
    return tuple(
        Acceptance(
            one.reel,
            *stretch_on_timeline(sheet, one, extent),
            stretch_tracks(sheet, one),
            one.take,
            one.passes or (),
            one.reason,
            one.by,
            frame_samples(sheet),
        )
        for one in sheet.accepted
    )


def unrecorded_of(sheet: Sheet, extent: Range) -> tuple[UnrecordedStretch, ...]:
    """Return the stretches that the sheet says were never recorded, on the timeline, in its order."""
    return tuple(
        UnrecordedStretch(one.reel, *stretch_on_timeline(sheet, one, extent), stretch_tracks(sheet, one))
        for one in sheet.unrecorded
    )


def without_unrecorded(
    reel: ExaminedReel, stretches: Iterable[UnrecordedStretch], frame: int
) -> ExaminedReel:
    """Return a reel that knows what of it was never recorded: none of its findings there is silence, or in doubt.

    What sounds there stays a flaw, so that silence is taken where a pass has it.
    """
    by_track: dict[int, list[Range]] = {}
    for stretch in stretches:
        for track in stretch.tracks if stretch.reel == reel.name else ():
            by_track.setdefault(track, []).append((stretch.start, stretch.end))
    if not by_track:
        return reel
    holed = replace(
        reel, unrecorded={track: merged(ranges) for track, ranges in by_track.items()}, margin=frame
    )
    found = reel.findings
    undecided = tuple(
        replace(place, start=low, end=high)
        for place in found.undecided
        for low, high in holed.recorded(place.track, place.start, place.end)
    )
    findings = replace(
        found,
        flaws=_sounding(found.flaws, holed),
        undecided=undecided,
        agreeing_flaws=_sounding(found.agreeing_flaws, holed),
    )
    return replace(holed, findings=findings)


def _sounding(flaws: Iterable[FoundFlaw], reel: ExaminedReel) -> tuple[FoundFlaw, ...]:
    found: list[FoundFlaw] = []
    for flaw in flaws:
        is_quiet = flaw.kind in QUIET_KINDS
        kept = reel.recorded(flaw.track, flaw.start, flaw.end) if is_quiet else [(flaw.start, flaw.end)]
        found += [replace(flaw, start=low, end=high) for low, high in kept]
    return tuple(found)
