"""All that is told of a session, in the order in which it is read: the session's own, the passes', the reels'."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.tell.punches import punch_notes
from assembler.aligner.tell.reel import far_notes, reel_notes
from assembler.aligner.tell.stripes import withheld_notes
from assembler.notes import Note

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from assembler.aligner.records.reel import ExaminedReel
    from assembler.aligner.tell.holdings import Holdings
    from assembler.aligner.tell.outcome import Outcome
    from assembler.importer import ImportedSession


def session_notes(
    session: ImportedSession,
    reels: Sequence[ExaminedReel],
    outcome: Outcome,
    holdings: Mapping[str, Holdings],
    plan_path: Path | None,
) -> list[Note]:
    """Return the notes on a session.

    Args:
        session: imported passes.
        reels: placed and compared.
        outcome: what was decided about the tracks.
        holdings: of each reel, by its name.
        plan_path: the plan, if the takes are a person's.
    """
    notes = far_notes(reels, session.sheet)
    notes += withheld_notes(session.sheet)
    notes += [note for one in session.passes for note in one.notes]
    for reel in reels:
        notes += reel_notes(reel, session.sheet, outcome, holdings[reel.name])
    notes += punch_notes(outcome.punches, reels, session.sheet)
    if plan_path is not None:
        notes.append(Note("other", f"the takes are a person's: {plan_path.name}, not the program's own plan"))
    return notes
