"""The list for the machine.

Question: what must be played again, from where, and may a tape come off?
Input: a sheet and the states of its edit.
Output: rolls, each with its reason; lines, JSON, a page to print.

Each in its file:

- `finding`: places to rolls, as few as possible. `held`: what each pass holds at a place.
- `model`: the list as records; `labels`: the tape's own timecode.
- `words`: why, in an engineer's words; `telling`: lines and JSON; `page`: to print.
"""

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
