"""All delivered tracks planned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.aligner.plan.track import edit_track
from assembler.aligner.plan.weaving import weavings_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.plan.hand.takes import Plan
    from assembler.aligner.plan.path.choices import Forced
    from assembler.aligner.plan.weaving import Braid, Weaving
    from assembler.aligner.records.edit import DeliveredTrack, TrackEdit
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
    sheet, reels, extent = material.sheet, material.reels, material.extent
    weavings = weavings_of(sheet, reels, material.braids, extent, takes, own)
    return PlannedTrack(edit_track(sheet, reels, track, extent, takes, weavings, own), weavings)
