"""The list for the machine: what must be played again, from where, and whether a tape may come off."""

from assembler.retakes.finding import find_retakes
from assembler.retakes.model import PassWords, ReelRetakes, Retakes, Roll, TimedSuspect
from assembler.retakes.page import retakes_page
from assembler.retakes.telling import retakes_json, retakes_lines
from assembler.retakes.words import track_numbers

__all__ = [
    "PassWords",
    "ReelRetakes",
    "Retakes",
    "Roll",
    "TimedSuspect",
    "find_retakes",
    "retakes_json",
    "retakes_lines",
    "retakes_page",
    "track_numbers",
]
