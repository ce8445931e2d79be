"""Which accepted places of the sheet stand: held against what would be open if there were none.

An acceptance answers what a person was asked, by the passes that lay there then. Where a pass that the person did not
know holds something else in an open place, it is void on that track: what is there has changed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.plan.extent import accepted_of
from assembler.aligner.plan.path.choices import Forced, fade_of
from assembler.aligner.plan.track import plan_tracks
from assembler.aligner.records.limits import READ_SAMPLES
from assembler.aligner.records.ranges import common, merged, pieces_of, without
from assembler.aligner.tell.outcome import bad_places

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.plan.track import Material, PlannedTrack
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet
    from assembler.verdict.signed import Acceptance

Taken = tuple[int, int, str | None]
"""A timeline range and the pass that it is taken from, None for silence."""


def sign_off(
    material: Material, punches: Sequence[Forced]
) -> tuple[tuple[Acceptance, ...], tuple[Forced, ...]]:
    """Return the accepted places with what is news to them, and all that the sheet takes from named passes."""
    accepted = accepted_of(material.sheet, material.extent)
    if not accepted:
        return (), tuple(punches)
    without_them = plan_tracks(material, punches)
    reels = {reel.name: reel for reel in material.reels}
    checked = tuple(_checked(one, reels[one.reel], without_them, material.extent) for one in accepted)
    takes = [_forced(one, reels[one.reel], material.sheet) for one in checked if one.take and one.standing]
    return checked, (*punches, *takes) if material.sheet.repair.mode != "off" else tuple(punches)


def _forced(one: Acceptance, reel: ExaminedReel, sheet: Sheet) -> Forced:
    tracks = frozenset(reel.reel.tracks[track] for track in one.standing)
    return Forced(one.start, one.end, one.take or "", fade_of(sheet), tracks, is_accepted=True)


def _checked(
    one: Acceptance, reel: ExaminedReel, planned: Sequence[PlannedTrack], extent: Range
) -> Acceptance:
    """Return an acceptance with whether anything in it is open by itself, and which passes are news on which track."""
    news: dict[int, tuple[str, ...]] = {}
    was_open = False
    for track in planned:
        tape_track = track.edit.track.tape_tracks.get(reel.name)
        if tape_track not in one.tracks or tape_track is None:
            continue
        bad = [(place.start, place.end) for place in bad_places(reel, track.edit, extent[0], track.weavings)]
        open_ = [(place.start, place.end) for place in reel.findings.undecided if place.track == tape_track]
        inside = common(merged([*bad, *open_]), common([(one.start, one.end)], [extent]))
        was_open = was_open or bool(inside)
        if one.take:
            taken: list[Taken] = [(*p, one.take) for p in inside or common([(one.start, one.end)], [extent])]
        else:
            taken = [
                (low, high, span.pass_name)
                for span in track.edit.spans
                for low, high in common(inside, [(span.start + extent[0], span.end + extent[0])])
            ]
        found = tuple(
            p.name for p in reel.passes if p.name not in one.known and _is_news(p, reel, tape_track, taken)
        )
        if found:
            news[tape_track] = found
    return replace(one, news=news, was_open=was_open)


def _is_news(new: PlacedPass, reel: ExaminedReel, track: int, taken: Sequence[Taken]) -> bool:
    """Return whether a pass holds anything else than what is taken, or stands for it itself."""
    passes = {one.name: one for one in reel.passes}
    for low, high, name in taken:
        held = common(merged(new.covered(track)), [(low, high)])
        if held and name == new.name:
            return True
        old = passes.get(name or "")
        known = common(held, merged(old.covered(track))) if old else []
        if without(held, known):
            return True
        for piece in pieces_of(known, READ_SAMPLES):
            if old and np.any(new.samples(track, *piece) != old.samples(track, *piece)):
                return True
    return False
