"""What the sheet's punches bring with them: flaws of their pass, or nothing at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.records.ranges import common, merged, total, without
from assembler.aligner.records.reel import stretch_label, track_names
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assembler.aligner.plan.path.choices import Forced
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet


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
    return [track for track, name in enumerate(reel.reel.tracks) if name and punch.is_on(name)]
