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

    from assembler.aligner.plan.hand.takes import Plan
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
    edits = {one.name: plan_one(material, one, forced).edit for one in tracks if one.name in plan}
    changed = {name: takes for name, takes in plan.items() if list(takes) != takes_of(edits[name], extent[0])}
    for track in tracks:
        if track.name not in changed:
            continue
        named = list(plan).index(track.name) + 1, track.name
        check_takes(path, sheet, named, plan[track.name], coverage_of(material.reels, track), extent)
    return changed or None
