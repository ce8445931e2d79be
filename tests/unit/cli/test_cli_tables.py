"""Lines that a person reads on the terminal."""

from __future__ import annotations

from assembler.cli.tables import note_lines
from assembler.importer import Note


def told(name: str, text: str, kind: str = "other") -> Note:
    """Return a note on a pass."""
    return Note(kind, f"{name} {text}", pass_name=name)


def test_notes_of_one_pass_stay_apart() -> None:
    """Alike notes share a line over passes, the first with the first; those of one pass are told one by one."""
    notes = [told("A1", "at 1 s: 3 came"), told("A1", "at 2 s: 4 came"), told("B1", "at 5 s: 6 came")]
    assert note_lines(notes) == ["other: A1 at 1 s: 3 came (alike in B1)", "other: A1 at 2 s: 4 came"]


def test_only_small_matters_share_a_line() -> None:
    """What needs a person, or was corrected, has a line for each pass."""
    notes = [told(name, "lies at 1 s", kind) for kind in ("undecided", "log_clock") for name in ("A1", "B1")]
    assert len(note_lines(notes)) == 4
