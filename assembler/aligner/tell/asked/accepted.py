"""Places that a person has accepted: which acceptance closes a place, and what is reported of them.

Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.records.ranges import common
from assembler.aligner.records.reel import stretch_label, track_names
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.aligner.tell.outcome import Outcome
    from assembler.sheet import Sheet
    from assembler.verdict.signed import Acceptance


def cut_at(accepted: Iterable[Acceptance], reel: str, track: int, place: Range) -> list[Range]:
    """Return a place of a tape track cut where something that stands accepted on it begins or ends."""
    inside = {
        edge
        for one in accepted
        if one.reel == reel and track in one.standing
        for edge in (one.start, one.end)
        if place[0] + one.margin <= edge <= place[1] - one.margin
    }
    edges = [place[0], *sorted(inside), place[1]]
    return list(pairwise(edges))


def closing_of(
    accepted: Iterable[Acceptance],
    reel: str,
    tracks: Sequence[int],
    place: Range,
    taken: Sequence[str] | None,
) -> Acceptance | None:
    """Return the acceptance that closes a place: it stands on all its tracks, and the set has it from its take.

    Which passes the set has it from is None where that is of no meaning.
    """
    return next(
        (
            one
            for one in accepted
            if one.reel == reel
            and one.covers(*place)
            and set(tracks) <= set(one.standing)
            and (one.take is None or taken is None or list(taken) == [one.take])
        ),
        None,
    )


def beyond_words(place: Range, extent: Range, margin: int) -> str:
    """Return that a stretch of the sheet lies outside of the set, or reaches beyond it: its labels may be mistyped.

    No label is closer than the margin, the samples of a frame.
    """
    if not common([place], [extent]):
        return "; it lies outside of the set"
    is_beyond = place[0] <= extent[0] - margin or place[1] >= extent[1] + margin
    return "; it reaches beyond the set" if is_beyond else ""


def accepted_words(one: Acceptance) -> str:
    """Return who lets something stand, and why."""
    return f"accepted by {one.by}: {one.reason}"


def closed_note(note: Note, reel: ExaminedReel, outcome: Outcome) -> Note:
    """Return a note on a reel; one that asks for a person, and whose place is accepted, as such.

    The place of a note on a pass is all that the pass has in the set, unless the note names one.
    """
    time_map = reel.maps.get(note.pass_name or "")
    # A note that tells what passes hold is on an undecided place, and closed by what the set has there.
    if not note.needs_a_person or note.held or time_map is None or not time_map.stretches:
        return note
    place = (time_map.start, time_map.end)
    if note.start is not None:
        found = time_map.timeline_ranges(note.start, max(note.end or 0, note.start + 1))
        if not found:
            return note
        place = (found[0][0], found[-1][1])
    tracks = note.tracks or reel.named_tracks
    known = [one for one in outcome.accepted if note.pass_name in one.known]
    for inside in common([place], [outcome.extent]):
        closing = closing_of(known, reel.name, tracks, inside, None)
        if closing is not None:
            text = f"{note.text}; {accepted_words(closing)}"
            return replace(note, kind="accepted", text=text, accepted=closing)
    return note


def accepted_notes(
    outcome: Outcome, reels: Sequence[ExaminedReel], closings: Sequence[Acceptance], sheet: Sheet
) -> list[Note]:
    """Return a note for each accepted place: that it stands, or why not, or that nothing is open there."""
    by_name = {reel.name: reel for reel in reels}
    return [_accepted_note(one, by_name[one.reel], outcome, closings, sheet) for one in outcome.accepted]


def _accepted_note(
    one: Acceptance, reel: ExaminedReel, outcome: Outcome, closings: Sequence[Acceptance], sheet: Sheet
) -> Note:
    label = stretch_label(sheet)
    head = f"reel {one.reel}, {label(one.start, one.end)}, {track_names(reel.reel, one.tracks)}"
    text = f"{head}: {accepted_words(one)}"
    if one.news:
        text += f"; {_void_words(one, reel)}"
    place, wanted = (one.start, one.end), (None, [one.take])
    elsewhere = [t for t in one.standing if one.take and outcome.taken(one.reel, t, place) not in wanted]
    if elsewhere:
        text += (
            f"; but {_elsewhere_words(one, outcome, sheet)} on {track_names(reel.reel, elsewhere)}, so that what is "
            "open there asks for a person"
        )
    elif one.take and one.standing:
        text += f"; taken from {one.take}"
    is_open = one.was_open or one in closings
    if not one.news and not is_open:
        text += "; it fits no place that is open: it is no longer needed, or means another one" + (
            f"; its take of {one.take} holds" if one.take and one.standing and not elsewhere else ""
        )
    text += beyond_words((one.start, one.end), outcome.extent, one.margin)
    return Note("accepted" if one.standing and is_open else "other", text, tracks=one.tracks)


def _elsewhere_words(one: Acceptance, outcome: Outcome, sheet: Sheet) -> str:
    """Return why the set has a place from elsewhere than its take."""
    if outcome.has_plan:
        return f"the plan has something else than {one.take} taken"
    if sheet.repair.mode == "off":
        return f'mode = "off" takes nothing from {one.take}'
    return f"{one.take} does not hold all of it"


def _void_words(one: Acceptance, reel: ExaminedReel) -> str:
    names = list(dict.fromkeys(name for found in one.news.values() for name in found))
    listed = ", ".join(f'"{name}"' for name in dict.fromkeys([*one.known, *names]))
    return (
        f"void on {track_names(reel.reel, sorted(one.news))}: {' and '.join(names)}, which {one.by} did not judge by, "
        f"{'has' if len(names) == 1 else 'have'} something else there, so that what is open there asks for a person "
        f"again. Listen; if it may still stand, write passes = [{listed}] into it"
    )
