"""Lines that a person reads on the terminal."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from assembler.aligner import AlignedPass, Because, PassFlaw, Rule, Stretch, TimeMap
from assembler.cli.sessions.printing import note_lines
from assembler.cli.sessions.tables import flaw_lines
from assembler.verdict.notes import Note, NoteKind


def told(name: str, text: str, kind: NoteKind = "other") -> Note:
    """Return a note on a pass."""
    return Note(kind, f"{name} {text}", pass_name=name)


def counted(name: str, count: int | None, theme: str) -> Note:
    """Return a small matter that many passes have."""
    return Note("other", f"{name}: {count} {theme}", pass_name=name, theme=theme, count=count)


def test_notes_of_one_theme_share_a_line_that_has_every_number() -> None:
    """However many passes there are, the line names each with its own number; one alone has its own words."""
    alike = [counted(f"A{number}", 100 + number, "words unread") for number in range(1, 9)]
    (line,) = note_lines(alike)
    assert line == "other: words unread: " + ", ".join(f"A{n} {100 + n}" for n in range(1, 9))
    assert note_lines(alike[:1]) == ["other: A1: 101 words unread"]
    assert note_lines([*alike[:2], counted("B1", 7, "points stray")]) == [
        "other: words unread: A1 101, A2 102",
        "other: B1: 7 points stray",
    ]
    assert note_lines([counted("A1", None, "flag set"), counted("A2", None, "flag set")]) == [
        "other: flag set: A1, A2"
    ]


def test_notes_without_a_theme_are_never_joined() -> None:
    """A short burst does not hide a long one: what differs in numbers differs, and so may what is equal."""
    burst = "punch 01:{}, reel A: brings in a burst of A{}, {} samples on Kick"
    texts = [burst.format("00:03:00", 2, 4800), burst.format("07:00:00", 3, 96000)]
    notes = [Note("other", text, pass_name=name) for text, name in zip(texts, ("A2", "A3"), strict=True)]
    assert note_lines(notes) == [f"other: {text}" for text in texts]
    assert len(note_lines([told("A1", "at 1 s: 3 came"), told("B1", "at 5 s: 6 came")])) == 2
    assert len(note_lines([told("A1", "at 1 s"), told("A1", "at 1 s")])) == 2
    notes = [told(name, "lies at 1 s", kind) for kind in ("undecided", "log_clock") for name in ("A1", "B1")]
    assert len(note_lines(notes)) == 4


def test_what_needs_a_person_comes_first_and_small_matters_last() -> None:
    """A long list is cut off at its end: the order is questions, corrections, remarks."""
    kinds: list[NoteKind] = ["other", "log_clock", "undecided", "other", "retake_refused", "tape_suspected"]
    lines = note_lines(told("A1", f"{number}", kind) for number, kind in enumerate(kinds))
    assert [line.split(":")[0].replace(" ", "_") for line in lines] == [
        "undecided",
        "retake_refused",
        "log_clock",
        "tape_suspected",
        "other",
        "other",
    ]


@pytest.mark.parametrize(
    ("nats", "because"),
    [(12.0, "muted words, 12 nats"), (31.0, "muted words, 12 nats / muted words, 31 nats")],
)
def test_a_flaw_that_passes_share_has_the_reason_of_each(
    monkeypatch: pytest.MonkeyPatch, nats: float, because: str
) -> None:
    """One line for both passes hides no number: their leads stand in their order, once where they are one."""
    monkeypatch.setattr("assembler.report.reasons.RULE_WORDS", {Rule.CUT_OFF.value: "muted words"})

    def aligned(name: str, lead: float) -> AlignedPass:
        flaw = PassFlaw("mute", 100, 200, (0,), cured=False, because=Because(Rule.CUT_OFF, lead))
        imported: Any = SimpleNamespace(name=name, reel="A")
        return AlignedPass(imported, TimeMap((Stretch(0, 1000, 0),)), (flaw,))

    reels = [SimpleNamespace(name="A", tracks=("Kick",))]
    edit = SimpleNamespace(passes=[aligned("A1", 12.0), aligned("A2", nats)], start_sample=0, length=1000)
    result: Any = SimpleNamespace(edit=edit, sheet=SimpleNamespace(reels=reels))
    (line,) = flaw_lines(result)
    assert (line.passes, line.because) == (("A1", "A2"), because)
