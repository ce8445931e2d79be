"""All that is reported of a session, in the order in which it is read: the session's own, the passes', the reels'."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.aligner.tell.asked.accepted import accepted_notes, closed_note
from assembler.aligner.tell.asked.stretches import punch_notes, unrecorded_notes
from assembler.aligner.tell.asked.stripes import withheld_notes
from assembler.aligner.tell.holdings import Holdings
from assembler.aligner.tell.outcome import find_uncured
from assembler.aligner.tell.passes import aligned_pass
from assembler.aligner.tell.reel import far_notes, reel_notes
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from assembler.aligner.plan.track import PlannedTrack
    from assembler.aligner.records.edit import AlignedPass, Uncured
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.aligner.tell.outcome import Outcome
    from assembler.importer import ImportedSession
    from assembler.verdict.signed import UnrecordedStretch


@dataclass(frozen=True)
class Told:
    """What is reported of a session: its passes with their flaws, what no pass has right, notes."""

    passes: tuple[AlignedPass, ...]
    uncured: tuple[Uncured, ...]
    notes: tuple[Note, ...]


def tell_session(
    session: ImportedSession,
    reels: Sequence[ExaminedReel],
    planned: Sequence[PlannedTrack],
    outcome: Outcome,
    unrecorded: Sequence[UnrecordedStretch],
    plan_path: Path | None,
) -> Told:
    """Return all that is reported of a session."""
    holdings = {reel.name: Holdings(reel, session.sheet) for reel in reels}
    uncured = [
        place
        for one in planned
        for place in find_uncured(reels, one.edit, outcome.start, holdings, one.weavings, outcome.accepted)
    ]
    wired = {one.name: one for reel in reels for one in reel.wired.passes}
    passes = tuple(aligned_pass(wired[one.name], reels, uncured, outcome.start) for one in session.passes)
    notes = _notes(session, reels, outcome, holdings, plan_path if outcome.has_plan else None)
    accepted = [*(place.accepted for place in uncured), *(note.accepted for note in notes)]
    closings = [one for one in accepted if one is not None]
    notes += accepted_notes(outcome, reels, closings, session.sheet)
    notes += unrecorded_notes(unrecorded, reels, outcome.extent, session.sheet)
    return Told(passes, tuple(uncured), tuple(notes))


def _notes(
    session: ImportedSession,
    reels: Sequence[ExaminedReel],
    outcome: Outcome,
    holdings: Mapping[str, Holdings],
    plan_path: Path | None,
) -> list[Note]:
    """Return the notes on a session, its passes, its reels, its punches; ``plan_path`` is a plan that a person made."""
    notes = [*far_notes(reels, session.sheet), *withheld_notes(session.sheet)]
    by_name = {reel.name: reel for reel in reels}
    for one in session.passes:
        notes += [closed_note(note, by_name[one.reel], outcome) for note in one.notes]
    for reel in reels:
        found = reel_notes(reel, session.sheet, outcome, holdings[reel.name])
        notes += [closed_note(note, reel, outcome) for note in found]
    notes += punch_notes(outcome.punches, reels, session.sheet)
    if plan_path is not None:
        notes.append(Note("other", f"the takes are a person's: {plan_path.name}, not the program's own plan"))
    return notes
