"""What the comparison of passes has shown, in an engineer's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.ranges import common, merged, total
from assembler.importer import Note
from assembler.timecode import format_sample, frame_rate

SAME_PLACE_SAMPLES = 256
"""Flaws of several tracks that begin and end within this distance of each other are one place."""

FAR_SECONDS = 3600
"""Passes further from all others than this are asked about."""

MOST_NAMED = 4

LEAST_GAPS = 5
MOST_TURNS = 4
STEADY_SHARE = 0.05
STEADY_GAPS = 0.8

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.edit import AlignedPass
    from assembler.aligner.examining import ExaminedReel
    from assembler.aligner.findings import FoundFlaw, PlacedPass, ReelFindings
    from assembler.aligner.planning import Forced
    from assembler.arrays import Int64s
    from assembler.sheet import Sheet


def timecode_label(sheet: Sheet) -> Callable[[int], str]:
    """Return a function that writes a timeline sample as timecode."""
    rate = frame_rate(sheet.session.frame_rate)
    return lambda sample: format_sample(sample, rate, sheet.session.sample_rate)


def reel_notes(
    passes: Sequence[PlacedPass], findings: ReelFindings, sheet: Sheet, tracks: Sequence[str]
) -> list[Note]:
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
                f"{place.end - place.start} samples on {tracks[place.track]} and nothing tells which is right; "
                f"{place.taken} is taken, as the more trusted",
                pass_name=place.taken,
                tracks=(place.track,),
                start=start,
                end=end,
            )
        )
    notes += [_unlike_note(pair, share, findings, sheet) for pair, share in findings.unlike.items()]
    notes += _tape_notes(by_name, findings.agreeing_flaws, label, tracks)
    notes += _machine_notes(passes, findings, sheet)
    return notes


def _unlike_note(pair: tuple[str, str], share: float, findings: ReelFindings, sheet: Sheet) -> Note:
    peak = findings.largest_difference[pair]
    decibels = 20 * np.log10(peak / (1 << (sheet.deliver.word_length - 1)))
    return Note(
        "not_transparent",
        f"{pair[1]} differs from {pair[0]} in {share:.0%} of their common samples, by at most {peak} steps "
        f"({decibels:.1f} dBFS): the capture chain is not bit-transparent (a mixer, a rate converter or dither in "
        f"the way), so their differences are not taken for flaws, and {pair[1]} is used only where nothing else is",
        pass_name=pair[1],
    )


def _tape_notes(
    by_name: dict[str, PlacedPass],
    flaws: Sequence[FoundFlaw],
    label: Callable[[int], str],
    tracks: Sequence[str],
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
                f"{label(first)}: {kind} of {last - first} samples on {tracks[track]}, alike in "
                f"{' and '.join(names)}: this points at the tape, not at the machine",
                pass_name=names[0],
                tracks=(track,),
                start=start,
                end=end,
            )
        )
    return notes


def _machine_notes(passes: Sequence[PlacedPass], findings: ReelFindings, sheet: Sheet) -> list[Note]:
    """Tell, pass by pass, how many places are wrong in it alone, and whether they come at a steady interval."""
    shared = {(flaw.pass_name, flaw.track, flaw.start, flaw.end) for flaw in findings.agreeing_flaws}
    notes = []
    for one in passes:
        alone = [
            (flaw.start, flaw.end)
            for flaw in findings.flaws
            if flaw.pass_name == one.name
            and (flaw.pass_name, flaw.track, flaw.start, flaw.end) not in shared
            and any(
                other is not one and common(other.covered(flaw.track), [(flaw.start, flaw.end)])
                for other in passes
            )
        ]
        places = merged(alone, bridge=SAME_PLACE_SAMPLES)
        if not places:
            continue
        count = f"{len(places)} place{'s are' if len(places) > 1 else ' is'}"
        text = f"{one.name}: {count} wrong in this pass alone: this points at the machine, not at the tape"
        interval = steady_interval(np.array([start for start, _ in places], np.int64))
        if interval is not None:
            milliseconds = 1000 * interval / sheet.session.sample_rate
            text += f"; they come every {milliseconds:.1f} ms: this points at a rotating part"
        notes.append(Note("machine_damage", text, pass_name=one.name))
    return notes


def steady_interval(starts: Int64s) -> float | None:
    """Return the interval in samples at which places follow one another, or None where they come at random.

    Steady means: of five gaps or more at least four in five are whole multiples, within a twentieth, of the
    middle one. Places that were missed make a gap of two or three intervals.

    Args:
        starts: shape (n,), rising.
    """
    gaps = np.diff(starts).astype(np.float64)
    if gaps.size < LEAST_GAPS:
        return None
    middle = float(np.median(gaps))
    turns = np.rint(gaps / middle)
    steady = (turns >= 1) & (turns <= MOST_TURNS) & (np.abs(gaps / middle - turns) < STEADY_SHARE)
    if np.mean(steady) < STEADY_GAPS:
        return None
    return float(np.sum(gaps[steady]) / np.sum(turns[steady]))


def far_notes(reels: Sequence[ExaminedReel], sheet: Sheet) -> list[Note]:
    """Return a note for each group of passes that lies more than an hour from all others of the session.

    The hours between would be silence in every track, which a wrong log makes more often than a session does. Reels
    striped from hour to hour lie closer. A sheet that says from where to where the set goes has answered.
    """
    if sheet.session.start is not None and sheet.session.end is not None:
        return []
    placed = [
        (time_map.start, time_map.end, name, reel.name)
        for reel in reels
        for name, time_map in reel.maps.items()
        if time_map.stretches
    ]
    groups: list[list[tuple[int, int, str, str]]] = []
    reached = 0
    for one in sorted(placed):
        if not groups or one[0] - reached > FAR_SECONDS * sheet.session.sample_rate:
            groups.append([])
        groups[-1].append(one)
        reached = max(reached, one[1])
    # The session is where most passes are; of equals, where the one stands that is named first in the sheet.
    order = {one.name: place for place, one in enumerate(sheet.passes)}
    home = max(groups, key=lambda group: (len(group), -min(order[row[2]] for row in group)), default=[])
    return [_far_note(group, home, sheet) for group in groups if group is not home]


def _far_note(
    group: Sequence[tuple[int, int, str, str]], home: Sequence[tuple[int, int, str, str]], sheet: Sheet
) -> Note:
    start, home_start = group[0][0], home[0][0]
    is_later = start > home_start
    before, after = (home, group) if is_later else (group, home)
    gap = round((after[0][0] - max(row[1] for row in before)) / sheet.session.sample_rate)
    names = ", ".join(f"{name} (reel {reel})" for _, _, name, reel in group[:MOST_NAMED])
    if len(group) > MOST_NAMED:
        names += f" and {len(group) - MOST_NAMED} more"
    length = f"{gap // 3600} h {gap // 60 % 60} min {gap % 60} s"
    text = (
        f"{names}: placed at {timecode_label(sheet)(start)}, {length} {'after' if is_later else 'before'} the rest of "
        "the session, and the set holds silence in between. If a log is wrong, correct it, or give the pass a start "
        'or "audio", or its reel a timecode_offset; if it is meant so, give the session its start and end'
    )
    return Note("undecided", text, pass_name=group[0][2])


def punch_notes(punches: Sequence[Forced], passes: Sequence[AlignedPass], sheet: Sheet) -> list[Note]:
    """Return the notes on punches that bring in a flaw, or cannot be made because their pass is not there.

    Args:
        punches: as stretches of the timeline.
        passes: with the flaws that were found in them.
        sheet: the session.
    """
    label = timecode_label(sheet)
    by_name = {one.imported.name: one for one in passes}
    notes = []
    for punch in punches:
        one = by_name[punch.name]
        where = f"punch {label(punch.start)} to {label(punch.end)}"
        held = [] if one.time_map is None else one.time_map.pass_ranges(punch.start, punch.end)
        if total(held) < punch.end - punch.start:
            what = "is not used" if one.time_map is None else "does not hold all of it"
            notes.append(Note("retake_refused", f"{where}: {punch.name} {what}", pass_name=punch.name))
        for flaw in one.flaws:
            if common(held, [(flaw.start, max(flaw.end, flaw.start + 1))]):
                text = f"{where} brings in a {flaw.kind} of {punch.name}, {flaw.end - flaw.start} samples"
                notes.append(Note("other", text, punch.name, flaw.tracks, flaw.start, flaw.end))
    return notes
