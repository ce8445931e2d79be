"""The plan that a person has given, if it is theirs: read, held against the passes, and against the program's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.plan.candidates import coverage_of
from assembler.aligner.plan.hand.file import read_plan
from assembler.aligner.plan.hand.takes import check_takes, takes_of
from assembler.aligner.plan.track import edit_track
from assembler.aligner.plan.weaving import weavings_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from assembler.aligner.plan.hand.takes import Plan
    from assembler.aligner.plan.weaving import Braid
    from assembler.aligner.records.edit import DeliveredTrack
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet


def given_plan(
    path: Path | None,
    sheet: Sheet,
    reels: Sequence[ExaminedReel],
    tracks: Sequence[DeliveredTrack],
    extent: Range,
    braids: Mapping[str, Sequence[Braid]],
) -> Plan | None:
    """Return a person's takes, or None where there is no plan, or nobody has changed the program's own.

    Args:
        path: of the plan.
        sheet: the session.
        reels: placed and compared.
        tracks: of the set.
        extent: first sample of the set, and the first one behind it.
        braids: woven stretches of each reel, by its name.

    Raises:
        SheetError: it is no plan, or does not fit what the passes hold.
    """
    if path is None:
        return None
    plan = read_plan(path, sheet, [track.name for track in tracks], extent)
    if _is_own(plan, sheet, reels, tracks, extent, braids):
        return None
    for track in tracks:
        named = list(plan).index(track.name) + 1, track.name
        check_takes(path, sheet, named, plan[track.name], coverage_of(reels, track), extent)
    return plan


def _is_own(
    plan: Plan,
    sheet: Sheet,
    reels: Sequence[ExaminedReel],
    tracks: Sequence[DeliveredTrack],
    extent: Range,
    braids: Mapping[str, Sequence[Braid]],
) -> bool:
    """Return whether a plan is the one that the program makes by itself: nobody has changed it."""
    weavings = weavings_of(sheet, reels, braids, extent, None)
    return all(
        list(plan[track.name]) == takes_of(edit_track(sheet, reels, track, extent, None, weavings), extent[0])
        for track in tracks
    )
