"""What the comparison of passes has shown, in an engineer's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.importer import Note
from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.comparing import FoundFlaw, PlacedPass, ReelFindings
    from assembler.aligner.edit import AlignedPass
    from assembler.importer import ImportedSession
    from assembler.sheet import Sheet


def timecode_label(sheet: Sheet) -> Callable[[int], str]:
    """Return a function that writes a timeline sample as timecode."""
    rate = frame_rate(sheet.session.frame_rate)
    return lambda sample: format_sample(sample, rate, sheet.session.sample_rate)


def reel_notes(passes: Sequence[PlacedPass], findings: ReelFindings, sheet: Sheet) -> list[Note]:
    """Return the notes on undecided places, on passes that are nowhere alike, and on the tape's own damage."""
    label = timecode_label(sheet)
    by_name = {one.name: one for one in passes}
    notes = []
    for place in findings.undecided:
        taken = by_name[place.taken]
        ranges = taken.maps[place.track].pass_ranges(place.start, place.end)
        start, end = ranges[0] if ranges else (None, None)
        notes.append(
            Note(
                "undecided",
                f"{label(place.start)}: {place.taken} and {', '.join(place.others)} differ for "
                f"{place.end - place.start} samples on track {place.track + 1} and nothing tells which is right; "
                f"{place.taken} is taken, as the more trusted",
                pass_name=place.taken,
                tracks=(place.track,),
                start=start,
                end=end,
            )
        )
    notes += [_unlike_note(pair, share, findings, sheet) for pair, share in findings.unlike.items()]
    notes += _tape_notes(by_name, findings.agreeing_flaws, label)
    return notes


def _unlike_note(pair: tuple[str, str], share: float, findings: ReelFindings, sheet: Sheet) -> Note:
    peak = findings.largest_difference[pair]
    decibels = 20 * np.log10(peak / (1 << (sheet.deliver.word_length - 1)))
    return Note(
        "not_transparent",
        f"{pair[1]} differs from {pair[0]} in {share:.0%} of their common samples, by at most {peak} steps "
        f"({decibels:.1f} dBFS): the capture chain is not bit-transparent (a mixer, a rate converter or dither in "
        "the way), so their differences are not taken for flaws",
        pass_name=pair[1],
    )


def _tape_notes(
    by_name: dict[str, PlacedPass], flaws: Sequence[FoundFlaw], label: Callable[[int], str]
) -> list[Note]:
    places: dict[tuple[int, int, int, str], list[str]] = {}
    for flaw in flaws:
        places.setdefault((flaw.start, flaw.end, flaw.track, flaw.kind), []).append(flaw.pass_name)
    notes = []
    for (first, last, track, kind), names in sorted(places.items()):
        ranges = by_name[names[0]].maps[track].pass_ranges(first, last)
        start, end = ranges[0] if ranges else (None, None)
        notes.append(
            Note(
                "tape_damage",
                f"{label(first)}: {kind} of {last - first} samples on track {track + 1}, alike in "
                f"{' and '.join(names)}: this points at the tape, not at the machine",
                pass_name=names[0],
                tracks=(track,),
                start=start,
                end=end,
            )
        )
    return notes


def pass_notes(session: ImportedSession, passes: Sequence[AlignedPass]) -> list[Note]:
    """Return the notes on punches that bring in a flaw or name a pass that does not cover them."""
    notes = []
    by_name = {one.imported.name: one for one in passes}
    for punch in session.sheet.punches:
        if by_name[punch.pass_name].time_map is None:
            text = f"punch {punch.start} to {punch.end} is not made: {punch.pass_name} is not used"
            notes.append(Note("retake_refused", text, pass_name=punch.pass_name))
    return notes
