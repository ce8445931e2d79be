"""The plan that a person has given, if it is theirs: read, held against the passes, and against the program's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.plan.hand.file import read_plan
from assembler.aligner.plan.hand.takes import check_takes, takes_of
from assembler.aligner.plan.path.choices import coverage_of
from assembler.aligner.plan.track import plan_one

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assembler.aligner.plan.hand.takes import Plan, Take
    from assembler.aligner.plan.path.choices import Forced
    from assembler.aligner.plan.track import Material


def given_plan(path: Path | None, material: Material, forced: Sequence[Forced]) -> Plan | None:
    """Return a person's takes of the tracks that they changed; None where there is no plan, or nobody changed any.

    A track whose takes are the program's own is planned by the program, so that it stays as it was to the bit.

    Raises:
        SheetError: it is no plan, or does not fit what the passes hold.
    """
    if path is None:
        return None
    sheet, tracks, extent = material.sheet, material.tracks, material.extent
    plan = read_plan(path, sheet, [track.name for track in tracks], extent)
    changed = {name: takes for name, takes in plan.items() if not _is_own(name, takes, material, forced)}
    for track in tracks:
        if track.name not in changed:
            continue
        named = list(plan).index(track.name) + 1, track.name
        check_takes(path, sheet, named, plan[track.name], coverage_of(material.reels, track), extent)
    return changed or None


def _is_own(name: str, takes: Sequence[Take], material: Material, forced: Sequence[Forced]) -> bool:
    """Return whether the takes of a track are those that the program makes by itself: nobody has changed them."""
    track = next(one for one in material.tracks if one.name == name)
    return list(takes) == takes_of(plan_one(material, track, forced).edit, material.extent[0])
