"""What passes have in stretches that the sheet names: flaws that punches bring in, sound where nothing was recorded."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import READ_SAMPLES
from assembler.aligner.records.ranges import common, merged, pieces_of, total, without
from assembler.aligner.records.reel import place_label, stretch_label, track_names
from assembler.aligner.sound.scale import scale_of
from assembler.aligner.tell.asked.accepted import beyond_words
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from assembler.aligner.plan.path.choices import Forced
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet
    from assembler.verdict.signed import UnrecordedStretch


def punch_notes(punches: Sequence[Forced], reels: Sequence[ExaminedReel], sheet: Sheet) -> list[Note]:
    """Return the notes on punches that bring in a flaw, or cannot be made because their pass is not there."""
    notes: list[Note] = []
    for punch in punches:
        reel = next(r for r in reels if any(one.name == punch.name for one in r.wired.passes))
        one = next((p for p in reel.passes if p.name == punch.name), None)
        word = "accepted place" if punch.is_accepted else "punch"
        where = f"{word} {stretch_label(sheet)(punch.start, punch.end)}, reel {reel.name}"
        if one is None:
            notes.append(Note("retake_refused", f"{where}: {punch.name} is not used", pass_name=punch.name))
            continue
        notes += _missing_notes(punch, reel, one, where, sheet)
        if not punch.is_accepted:
            notes += _flaw_notes(punch, reel, one, where, sheet)
    return notes


def _missing_notes(
    punch: Forced, reel: ExaminedReel, one: PlacedPass, where: str, sheet: Sheet
) -> Iterator[Note]:
    """Tell, once for the tracks that are alike, what the pass of a punch does not hold of it."""
    label = stretch_label(sheet)
    by_gap: dict[tuple[tuple[int, int], ...], list[int]] = {}
    for track in _delivered(reel, punch):
        gaps = without([(punch.start, punch.end)], merged(one.covered(track)))
        if gaps:
            by_gap.setdefault(tuple(gaps), []).append(track)
    for missing, tracks in by_gap.items():
        text = (
            f"{where}: {punch.name} does not hold all of it: {total(missing)} samples are missing on "
            f"{track_names(reel.reel, tracks)}, {label(*missing[0])}{' and later' if len(missing) > 1 else ''}"
        )
        yield Note("retake_refused", text, punch.name, tuple(tracks))


def _flaw_notes(
    punch: Forced, reel: ExaminedReel, one: PlacedPass, where: str, sheet: Sheet
) -> Iterator[Note]:
    """Tell each flaw that a punch brings in, once for all tracks that have it."""
    label = stretch_label(sheet)
    wanted = _delivered(reel, punch)
    places: dict[tuple[int, int, str], list[int]] = {}
    for flaw in reel.findings.flaws:
        if flaw.pass_name == one.name and flaw.track in wanted:
            for start, end in common([(flaw.start, flaw.end)], [(punch.start, punch.end)]):
                if common(merged(one.covered(flaw.track)), [(start, end)]):
                    places.setdefault((start, end, flaw.kind), []).append(flaw.track)
    for (start, end, kind), tracks in sorted(places.items()):
        first, last = one.maps[tracks[0]].pass_reach(start, end) or (None, None)
        text = (
            f"{where}: brings in a {kind} of {one.name}, {end - start} samples on {track_names(reel.reel, tracks)}, "
            f"{label(start, end)}"
        )
        yield Note("other", text, one.name, tuple(sorted(tracks)), first, last)


def _delivered(reel: ExaminedReel, punch: Forced) -> list[int]:
    return [track for track in reel.named_tracks if punch.is_on(reel.reel.tracks[track])]


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
