"""Stretches that were never recorded: silence there is no flaw, and nothing of the tape's is in doubt."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assembler.aligner.plan.extent import stretch_on_timeline, stretch_tracks
from assembler.aligner.records.ranges import merged
from assembler.verdict.signed import UnrecordedStretch

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet

SILENT_KINDS = frozenset({"mute", "hold"})
"""Flaws that are no sound."""


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
        is_silent = flaw.kind in SILENT_KINDS
        kept = reel.recorded(flaw.track, flaw.start, flaw.end) if is_silent else [(flaw.start, flaw.end)]
        found += [replace(flaw, start=low, end=high) for low, high in kept]
    return tuple(found)
