"""A whole session aligned and planned: imported passes in, the edit out. Nothing is written."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from importlib.util import find_spec
from typing import TYPE_CHECKING

from assembler.aligner.examining import examine_reels
from assembler.aligner.plan.extent import (
    extent_of_set,
    frame_samples,
    punches_of,
    unrecorded_of,
    without_unrecorded,
)
from assembler.aligner.plan.hand.given import given_plan
from assembler.aligner.plan.track import Material, plan_tracks
from assembler.aligner.plan.weaving import braids_of
from assembler.aligner.records.edit import DeliveredTrack, Edit
from assembler.aligner.signing import sign_off
from assembler.aligner.states.track import known_of
from assembler.aligner.tell.asked.stripes import withheld_tracks
from assembler.aligner.tell.outcome import Outcome
from assembler.aligner.tell.session import tell_session
from assembler.importer import sheet_words

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor
    from pathlib import Path

    from assembler.importer import ImportedSession
    from assembler.sheet import Sheet

THREADS = 2
"""Array operations run outside the interpreter lock; more threads than two gain little before disks are the limit."""


for _library in ("scipy", "tomlkit"):
    if find_spec(_library) is None:
        # Loaded where it is first needed, which may be hours into a session: that it is there is known before.
        raise ImportError(f"No module named {_library!r}")


def align_session(
    session: ImportedSession,
    advance: Callable[[str, float], None] = lambda *_: None,
    plan_path: Path | None = None,
    executor: Executor | None = None,
) -> Edit:
    """Return the edit of a session.

    Args:
        session: imported passes.
        advance: called with what is being done and the share of it that is done.
        plan_path: a plan that a person has made; it is taken in place of one that the program would make.
        executor: runs blocks and tracks side by side; without one, two threads do.

    Raises:
        SheetError: start, end or punches of the sheet do not fit what the passes cover; or the plan does not.
        CaptureError: a capture cannot be read.
    """
    if executor is None:
        with ThreadPoolExecutor(THREADS) as threads:
            return align_session(session, advance, plan_path, threads)
    if plan_path is not None:
        return _aligned(session, advance, plan_path, executor)
    asked = sheet_words(session.sheet), session.passes
    return session.recall("edit", asked, lambda: _aligned(session, advance, None, executor))


def _aligned(
    session: ImportedSession,
    advance: Callable[[str, float], None],
    plan_path: Path | None,
    executor: Executor,
) -> Edit:
    sheet = session.sheet
    reels = examine_reels(session, executor, advance)
    tracks = delivered_tracks(sheet)
    extent = extent_of_set(sheet, reels, tracks)
    unrecorded = unrecorded_of(sheet, extent)
    reels = [without_unrecorded(reel, unrecorded, frame_samples(sheet)) for reel in reels]
    material = Material(sheet, reels, tracks, extent, {reel.name: braids_of(reel) for reel in reels})
    accepted, forced = sign_off(material, punches_of(sheet, extent))
    plan = given_plan(plan_path, material, forced)
    planned = plan_tracks(material, forced, plan)
    edits = tuple(one.edit for one in planned)
    outcome = Outcome(extent[0], edits, forced if plan is None else (), plan is not None, accepted)
    told = tell_session(session, reels, planned, outcome, unrecorded, plan_path)
    states, suspects = known_of(reels, tracks, sheet)
    return Edit(
        extent[0],
        extent[1] - extent[0],
        told.passes,
        edits,
        told.uncured,
        told.notes,
        {reel.name: reel.word for reel in reels},
        states,
        suspects,
        accepted=accepted,
        unrecorded=unrecorded,
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
