"""What is reported of stretches that were never recorded: that the sheet says so, and what sounds there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import READ_SAMPLES
from assembler.aligner.records.ranges import common, merged, pieces_of
from assembler.aligner.records.reel import place_label, stretch_label, track_names
from assembler.aligner.sound.scale import scale_of
from assembler.aligner.tell.asked.accepted import beyond_words
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet
    from assembler.verdict.signed import UnrecordedStretch


def unrecorded_notes(
    stretches: Iterable[UnrecordedStretch], reels: Sequence[ExaminedReel], extent: Range, sheet: Sheet
) -> list[Note]:
    """Return a note for each stretch that was never recorded, and one for each pass that sounds in it.

    What lies outside of the set is nobody's business.
    """
    by_name = {reel.name: reel for reel in reels}
    notes: list[Note] = []
    for stretch in stretches:
        reel = by_name[stretch.reel]
        where = f"reel {reel.name}, {stretch_label(sheet)(stretch.start, stretch.end)}"
        names = track_names(reel.reel, stretch.tracks)
        beyond = beyond_words((stretch.start, stretch.end), extent, reel.margin)
        text = f"{where}: never recorded, as the sheet says: {names}{beyond}"
        notes.append(Note("other", text, tracks=stretch.tracks))
        # Sound in the frames at its ends may be what lies beside it: the sheet names no shorter stretch.
        inner = (stretch.start + reel.margin, stretch.end - reel.margin)
        for place in common([inner], [extent]):
            for one in reel.passes:
                notes += _sounding_note(one, reel, stretch.tracks, place, where, sheet)
    return notes


def _sounding_note(
    one: PlacedPass, reel: ExaminedReel, tracks: Sequence[int], place: Range, where: str, sheet: Sheet
) -> list[Note]:
    heard = {track: found for track in tracks if (found := _heard(one, track, place)) is not None}
    if not heard:
        return []
    first, peak = min(at for at, _ in heard.values()), max(peak for _, peak in heard.values())
    start, end = one.maps[min(heard)].pass_reach(*place) or (None, None)
    text = (
        f"{where}: the sheet says that it was never recorded, yet {one.name} sounds there on "
        f"{track_names(reel.reel, sorted(heard))}, from {place_label(sheet)(first)} on, peak "
        f"{scale_of(sheet, reel.word).dbfs(peak)}"
    )
    return [Note("other", text, one.name, tuple(sorted(heard)), start, end)]


def _heard(one: PlacedPass, track: int, place: Range) -> Range | None:
    """Return the first sample that is not zero and the peak of what a pass has in a place; None for silence."""
    first, peak = None, 0
    for low, high in pieces_of(common(merged(one.covered(track)), [place]), READ_SAMPLES):
        samples = np.abs(one.samples(track, low, high).astype(np.int64))
        if samples.any():
            first = low + int(np.flatnonzero(samples)[0]) if first is None else first
            peak = max(peak, int(samples.max()))
    return None if first is None else (first, peak)
