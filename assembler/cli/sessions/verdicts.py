"""The verdict in a line, and why a command ends with status 1."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assembler.cli.answer import DONE, NEEDS_A_PERSON, Answer
from assembler.cli.terminal.words import say

if TYPE_CHECKING:
    from assembler.aligner import Edit

LISTENING: Final = "Turn the level down before you listen: a burst, or what follows a mute, can be very loud."
"""Stands where somebody is sent to listen."""


def verdict_line(edit: Edit) -> str:
    """Return the verdict on a session, in a line."""
    if edit.is_sound:
        return "In order: nothing is left for a person to decide."
    return f"Needs a person: {asking_words(edit)}."


def last_line(edit: Edit, where: str = "") -> str:
    """Return why the status is what it is, in a line.

    Args:
        edit: of the session.
        where: where to look for what asks for a person, as it goes on after "; "; nothing where nothing was printed.
    """
    if edit.is_sound:
        return "In order, exit status 0: nothing is left for a person to decide."
    return f"Needs a person, exit status 1: {asking_words(edit)}{'; ' * bool(where)}{where}."


def asking_words(edit: Edit) -> str:
    """Return what asks for a person, counted: places, then notes by their kinds."""
    places = sum(place.accepted is None for place in edit.uncured)
    kinds = dict.fromkeys(note.kind for note in edit.notes if note.needs_a_person)
    notes = sum(note.needs_a_person for note in edit.notes)
    words = []
    if places:
        words.append(f"{places} place{'s' * (places != 1)} that no pass has right")
    if notes:
        named = ", ".join(kind.replace("_", " ") for kind in kinds)
        words.append(f"{notes} note{'s' * (notes != 1)} with a question ({named})")
    return " and ".join(words)


def status_of(edit: Edit) -> int:
    """Return the exit status of a session."""
    return DONE if edit.is_sound else NEEDS_A_PERSON


def with_reason(answer: Answer, edit: Edit) -> Answer:
    """Return an answer that also says on standard error why its status is 1."""
    if answer.status == DONE:
        return answer

    def tell() -> None:
        answer.tell()
        say(last_line(edit), err=True)

    return Answer(answer.status, tell)
