"""What a command comes to: the exit status, and the words still to be printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.cli.terminal.words import say, say_json, say_text

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from assembler.record.values import Json

DONE, NEEDS_A_PERSON, UNUSABLE, INTERRUPTED = 0, 1, 2, 130


@dataclass(frozen=True)
class Answer:
    """The work is over: nothing that happens while the words are printed changes what came of it.

    Args:
        status: the exit status.
        tell: prints the words on standard output.
    """

    status: int
    tell: Callable[[], None]


def lines_answer(*lines: str, status: int = DONE) -> Answer:
    """Return an answer that prints lines."""
    return Answer(status, lambda: say(*lines))


def text_answer(text: str, status: int = DONE) -> Answer:
    """Return an answer that prints a text of many lines, such as a sheet."""
    return Answer(status, lambda: say_text(text))


def json_answer(record: Mapping[str, Json], status: int = DONE) -> Answer:
    """Return an answer that prints one JSON object."""
    return Answer(status, lambda: say_json(record))
