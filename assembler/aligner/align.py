"""A whole session aligned and planned: imported passes in, the edit out. Nothing is written."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from assembler.aligner.place.reels.tie import tie_reels
from assembler.aligner.plan.extent import extent_of_set, punches_of
from assembler.aligner.plan.hand.given import given_plan
from assembler.aligner.plan.track import edit_track
from assembler.aligner.plan.weaving import braids_of, weavings_of
from assembler.aligner.records.edit import DeliveredTrack, Edit
from assembler.aligner.reel import compare_passes, place_passes
from assembler.aligner.tell.holdings import Holdings
from assembler.aligner.tell.outcome import Outcome, find_uncured
from assembler.aligner.tell.passes import aligned_pass
from assembler.aligner.tell.session import session_notes
from assembler.aligner.tell.stripes import withheld_tracks
from assembler.importer import sheet_words

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assembler.aligner.records.edit import TrackEdit, Uncured
    from assembler.importer import ImportedSession
    from assembler.sheet import Sheet

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
    if plan_path is not None:
        return _aligned(session, advance, plan_path)
    asked = sheet_words(session.sheet), session.passes
    return session.recall("edit", asked, lambda: _aligned(session, advance, None))


def _aligned(session: ImportedSession, advance: Callable[[str, float], None], plan_path: Path | None) -> Edit:
    sheet = session.sheet
    with ThreadPoolExecutor(THREADS) as executor:
        placed = [place_passes(session, reel, advance) for reel in sheet.reels]
        tied = tie_reels(placed, sheet.session.sample_rate)
        reels = [compare_passes(reel, session, executor, advance) for reel in tied]
    tracks = delivered_tracks(sheet)
    extent = extent_of_set(sheet, reels, tracks)
    braids = {reel.name: braids_of(reel) for reel in reels}
    plan = given_plan(plan_path, sheet, reels, tracks, extent, braids)
    edits: list[TrackEdit] = []
    uncured: list[Uncured] = []
    holdings = {reel.name: Holdings(reel, sheet) for reel in reels}
    for track in tracks:
        takes = None if plan is None else plan[track.name]
        weavings = weavings_of(sheet, reels, braids, extent, takes)
        edits.append(edit_track(sheet, reels, track, extent, takes, weavings))
        uncured += find_uncured(reels, edits[-1], extent[0], holdings, weavings)
    wired = {one.name: one for reel in reels for one in reel.wired.passes}
    passes = [aligned_pass(wired[one.name], reels, uncured, extent[0]) for one in session.passes]
    punches = punches_of(sheet, extent) if plan is None else ()
    outcome = Outcome(extent[0], tuple(edits), punches, has_plan=plan is not None)
    notes = session_notes(session, reels, outcome, holdings, None if plan is None else plan_path)
    words = {reel.name: reel.word for reel in reels}
    return Edit(
        extent[0], extent[1] - extent[0], tuple(passes), tuple(edits), tuple(uncured), tuple(notes), words
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
