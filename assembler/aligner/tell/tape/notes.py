"""What the flaws of a reel point at, told: places that all passes have alike are the tape's, the rest a machine's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.aligner.records.ranges import common
from assembler.aligner.records.reel import stretch_label
from assembler.aligner.sound.limits import LEAST_BEAT
from assembler.aligner.tell.tape.causes import steady_interval
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.aligner.tell.tape.causes import Causes
    from assembler.sheet import Sheet
    from assembler.verdict.notes import NoteKind

_UNTOLD_WORDS = (
    "flawed and held by no other pass: nothing tells whether tape or machine is to blame; another pass would"
)


def tape_notes(reel: ExaminedReel, causes: Causes, sheet: Sheet) -> list[Note]:
    """Return a note for each flaw that the tape itself has, and one for those that are reported together."""
    by_name = {one.name: one for one in reel.passes}
    label = stretch_label(sheet)
    notes = []
    for flaws in _flaws_of_tape(causes):
        tracks = sorted({flaw.track for flaw in flaws if reel.reel.tracks[flaw.track]})
        names = [name for name in by_name if any(flaw.pass_name == name for flaw in flaws)]
        whole = min(flaw.start for flaw in flaws), max(flaw.end for flaw in flaws)
        start, end = by_name[names[0]].maps[tracks[0]].pass_reach(*whole) or (None, None)
        notes.append(
            Note(
                "tape_suspected",
                f"{label(*whole)}, reel {reel.name}, {', '.join(reel.reel.tracks[track] for track in tracks)}: "
                f"{_flawed_words(flaws, names)}: every pass over this place is flawed, which points at the tape, not "
                "at the machine",
                pass_name=names[0],
                tracks=tuple(tracks),
                start=start,
                end=end,
            )
        )
    if causes.weak:
        text = (
            f"reel {reel.name}: {_counted(causes.weak)} flawed in several passes and right in another: this points at "
            f"weak spots of the tape; the first at {label(*causes.weak[0])}"
        )
        notes.append(Note("tape_suspected", text))
    return notes


def _flaws_of_tape(causes: Causes) -> list[list[FoundFlaw]]:
    """Return the flaws at each place where all passes are flawed; places that one flaw spans are one."""
    groups: list[list[FoundFlaw]] = []
    for place in sorted(causes.tape):
        flaws = [flaw for flaw in causes.flaws if common([(flaw.start, flaw.end)], [place])]
        # A flaw that spans two places spans all between them, too.
        if groups and any(flaw in groups[-1] for flaw in flaws):
            groups[-1] += [flaw for flaw in flaws if flaw not in groups[-1]]
        else:
            groups.append(flaws)
    return groups


def _flawed_words(flaws: Sequence[FoundFlaw], names: Sequence[str]) -> str:
    """Return what each pass has at a place: once where all have the same."""
    shapes = {
        name: {(flaw.track, flaw.kind, flaw.start, flaw.end) for flaw in flaws if flaw.pass_name == name}
        for name in names
    }
    words = {
        name: " and ".join(
            f"{kind} of {max(flaw.end - flaw.start for flaw in flaws if (flaw.pass_name, flaw.kind) == (name, kind))} "
            "samples"
            for kind in sorted({row[1] for row in rows})
        )
        for name, rows in shapes.items()
    }
    if all(rows == shapes[names[0]] for rows in shapes.values()):
        return f"{words[names[0]]}, alike in {' and '.join(names)}"
    return ", ".join(f"{text} in {name}" for name, text in words.items())


_MACHINE_THEME: Final = (
    "places flawed in one pass alone and right in another, which points at the machine, not at the tape"
)


def machine_notes(reel: ExaminedReel, causes: Causes, sheet: Sheet) -> list[Note]:
    """Tell, pass by pass, how many places are wrong in it alone, and whether they come at a steady interval."""
    notes = []
    rate = sheet.session.sample_rate
    for one in reel.passes:
        machine, untold = causes.machine[one.name], causes.untold[one.name]
        interval = _interval(machine, untold, rate)
        words = []
        if machine:
            words.append(
                f"{_counted(machine)} flawed in this pass alone and right in another: "
                "this points at the machine, not at the tape"
            )
        if untold:
            words.append(f"{_counted(untold)} {_UNTOLD_WORDS}")
        if interval is not None:
            words.append(
                f"they come every {1000 * interval / rate:.1f} ms or a multiple of it: this points at a rotating part"
            )
        theme, count = "", None
        if len(words) == 1:
            theme, count = (_MACHINE_THEME if machine else f"places {_UNTOLD_WORDS}"), len(machine or untold)
        if words:
            kind: NoteKind = "machine_suspected" if machine or interval is not None else "other"
            text = f"reel {reel.name}, {one.name}: {'; '.join(words)}"
            notes.append(Note(kind, text, one.name, theme=theme, count=count))
    return notes


def _interval(machine: Sequence[Range], untold: Sequence[Range], rate: int) -> float | None:
    """Return the interval at which places of a pass come, in samples.

    Of places that no other pass bears out none is reported that music may keep: only what turns comes so often.
    """
    proved = steady_interval(np.array([start for start, _ in machine], np.int64), rate)
    if proved is not None:
        return proved
    places = np.array(sorted(start for start, _ in (*machine, *untold)), np.int64)
    interval = steady_interval(places, rate)
    return interval if interval is not None and interval < LEAST_BEAT else None


def _counted(places: Sequence[Range]) -> str:
    return f"{len(places)} place{'s are' if len(places) > 1 else ' is'}"
