"""The program's own colours, all in one place: what a page writes with, passes, states, and what asks for somebody.

``tests/unit/test_palette.py`` measures them: words against what they stand on, drawn shapes against the lane, and that
passes and states are told apart by eyes that see colours differently. No pass is red, so that red stays what is open.
"""

from __future__ import annotations

from typing import Final

from assembler.states import State

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
