"""The program's own colours, all in one place: what a page writes with, passes, states, and what asks for somebody.

``tests/unit/report/test_palette.py`` measures them: words against what they stand on, drawn shapes against the lane,
and that passes and states are told apart by eyes that see colours differently. No pass is red: red is what is open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assembler.verdict.states import State

if TYPE_CHECKING:
    from collections.abc import Mapping

PAPER: Final = "#fbfaf7"
CARD: Final = "#ffffff"
LANE: Final = "#ecebe6"
LINE: Final = "#d9dcdf"
INK: Final = "#22262b"
FAINT: Final = "#5f666e"
OPEN: Final = "#a5371f"
"""What asks for a person: words, shapes and the border of the verdict."""
SOUND: Final = "#2f7f6e"
"""The border of a verdict that asks for nobody."""

PASSES: Final = (
    "#3b5ca3",
    "#6a8d55",
    "#412e3a",
    "#0793b4",
    "#804e78",
    "#988189",
    "#0a3061",
    "#585c4b",
)
"""One tone a pass, in the order of the sheet, told apart by its name as well; from the ninth on they come again."""

STATES: Final = {
    State.PROVEN: SOUND,
    State.SEEN_ONCE: "#718d47",
    State.SUSPECT: "#b37811",
    State.FLAWED: OPEN,
    State.MISSING: "#23272d",
}
"""From what is certain to what is not there."""


@dataclass(frozen=True)
class Shades:
    """All that a page is coloured with, each for what the module's names say."""

    paper: str
    card: str
    lane: str
    line: str
    ink: str
    faint: str
    open: str
    sound: str
    passes: tuple[str, ...]
    states: Mapping[State, str]


LIGHT: Final = Shades(PAPER, CARD, LANE, LINE, INK, FAINT, OPEN, SOUND, PASSES, STATES)

DARK: Final = Shades(
    paper="#15181b",
    card="#1d2125",
    lane="#2b3036",
    line="#3f464d",
    ink="#e8e5de",
    faint="#a9b0b6",
    open="#f0785a",
    sound="#358598",
    passes=("#8679c7", "#3ea7bb", "#aaf6a3", "#578733", "#7ce4dd", "#bcab98", "#c0b3ff", "#84776c"),
    states={
        State.PROVEN: "#358598",
        State.SEEN_ONCE: "#839c8a",
        State.SUSPECT: "#f8d67a",
        State.FLAWED: "#f0785a",
        State.MISSING: "#d1cfe6",
    },
)
"""For a screen whose reader asks for dark pages; nothing is printed so."""
