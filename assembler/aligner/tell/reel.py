"""What the comparison of passes has shown, in an engineer's words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assembler.aligner.records.findings import visited_places
from assembler.aligner.records.reel import place_label, stretch_label, timecode_label
from assembler.aligner.tell.asked.accepted import accepted_words, closing_of, cut_at
from assembler.aligner.tell.chains import CHAIN_KINDS, chain_notes, cure_notes
from assembler.aligner.tell.holdings import held_words
from assembler.aligner.tell.limits import FAR_SECONDS, MOST_NAMED
from assembler.aligner.tell.tape.causes import find_causes
from assembler.aligner.tell.tape.notes import machine_notes, tape_notes
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.findings import Undecided
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.aligner.tell.holdings import Holdings
    from assembler.aligner.tell.outcome import Outcome
    from assembler.sheet import Sheet
    from assembler.verdict.signed import Acceptance


def reel_notes(reel: ExaminedReel, sheet: Sheet, outcome: Outcome, holdings: Holdings) -> list[Note]:
    """Return what was found about a reel: passes, undecided places, passes nowhere alike, what flaws point at."""
    unlike = chain_notes(reel, sheet)
    told = {name for pair in reel.findings.unlike for name in pair}
    notes = [
        _placed(note, reel, sheet)
        for note in reel.notes
        if not (note.kind in CHAIN_KINDS and note.pass_name in told)
    ]
    notes += _undecided_notes(reel, sheet, outcome, holdings)
    notes += unlike
    notes += cure_notes(reel, sheet, outcome)
    unsure = [
        (note.pass_name, note.start)
        for note in reel.notes
        if note.kind == "undecided" and note.pass_name is not None and note.start is not None
    ]
    causes = find_causes(reel.passes, reel.findings, unsure)
    notes += tape_notes(reel, causes, sheet)
    notes += machine_notes(reel, causes, sheet)
    return notes


def _placed(note: Note, reel: ExaminedReel, sheet: Sheet) -> Note:
    """Return a note on a place of a pass, made before it had its place on the timeline, with its timecode."""
    time_map = reel.maps.get(note.pass_name or "")
    if note.start is None or note.kind != "undecided" or time_map is None:
        return note
    behind = [s for s in time_map.stretches if s.pass_end > note.start]
    at = behind[0].timeline_start + max(0, note.start - behind[0].pass_start) if behind else time_map.end
    return replace(note, text=f"{place_label(sheet)(at)}: {note.text}")


def _undecided_notes(reel: ExaminedReel, sheet: Sheet, outcome: Outcome, holdings: Holdings) -> list[Note]:
    by_name = {one.name: one for one in reel.passes}
    label = stretch_label(sheet)
    notes = []
    for place, closing in _visits(reel, outcome):
        where = place.start, place.end
        taken = outcome.taken(reel.name, place.track, where) or []
        held = holdings.at(place.track, where, taken)
        first = by_name[(taken or [place.taken])[0]]
        start, end = first.maps[place.track].pass_reach(*where) or (None, None)
        members = [name for name in by_name if name in place.members]
        choice = _choice_words(place, taken, members, outcome, reel.reel.tracks[place.track])
        notes.append(
            Note(
                "undecided" if closing is None else "accepted",
                f"{label(*where)}, reel {reel.name}, {reel.reel.tracks[place.track]}: "
                f"{_doubt_words(place, members, holdings)}; "
                f"{choice} ({held_words(held)}){f'; {accepted_words(closing)}' if closing else ''}",
                pass_name=first.name,
                tracks=(place.track,),
                start=start,
                end=end,
                held=held,
                rule=place.because.rule.value,
                nats=place.because.nats,
                accepted=closing,
            )
        )
    return notes


def _visits(reel: ExaminedReel, outcome: Outcome) -> list[tuple[Undecided, Acceptance | None]]:
    """Return the undecided places of the set as a person goes to them, in order, each with what closes it.

    Those that lie close together are one, whichever passes differ, but for what is accepted: that is told by itself.
    """
    closed: dict[int, tuple[Acceptance | None, list[Undecided]]] = {}
    for place in reel.findings.undecided:
        for low, high in cut_at(outcome.accepted, reel.name, place.track, (place.start, place.end)):
            taken = outcome.taken(reel.name, place.track, (low, high))
            # Outside the set nobody has to decide.
            if taken is not None:
                closing = closing_of(outcome.accepted, reel.name, (place.track,), (low, high), taken)
                part = replace(place, start=low, end=high)
                closed.setdefault(id(closing), (closing, []))[1].append(part)
    visits = [(one, closing) for closing, places in closed.values() for one in visited_places(places)]
    return sorted(visits, key=lambda visit: (visit[0].track, visit[0].start, visit[0].end))


def _doubt_words(place: Undecided, members: Sequence[str], holdings: Holdings) -> str:
    """Return what is in doubt at an undecided place."""
    size = _samples(place.end - place.start)
    if holdings.are_same(place.track, (place.start, place.end), members):
        return (
            f"{' and '.join(members)} hold the same for {size}, but the flaw of {' and '.join(place.others)} goes on "
            f"through it and nothing tells whether {place.taken} has one as well"
        )
    return f"{' and '.join(members)} differ for {size} and nothing tells which is right"


def _choice_words(
    place: Undecided, taken: Sequence[str], members: Sequence[str], outcome: Outcome, track: str
) -> str:
    """Return which pass is taken at an undecided place, and why."""
    if not taken:
        return "none is taken"
    names = " and ".join(taken)
    verb = "is taken" if len(taken) == 1 else "are taken, each for a part"
    if outcome.has_plan:
        return f"{names} {verb}, by the plan"
    punch = outcome.punch_at(taken[0], (place.start, place.end), track) if len(taken) == 1 else None
    if punch is not None:
        return f"{names} {verb}, {'as it was accepted' if punch.is_accepted else 'by a punch'}"
    if list(taken) == [place.taken]:
        return f"{names} {verb}, as the {'most trusted' if place.taken == members[0] else 'likelier'}"
    return f"{names} {verb}"


def _samples(count: int) -> str:
    return f"{count} sample{'s' * (count != 1)}"


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
