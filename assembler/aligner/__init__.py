"""From passes to an edit: time maps, flaws, the plan of spans and joins.

Question: which samples of which pass is each track of the set made of, and what has no pass right?
Input: an imported session, a person's plan if there is one.
Output: an `Edit`: all that is decided, before a byte is written.

At the top, each using the ones behind it:

- `align`: a session; `signing`: what a person has accepted.
- `examining`: all its reels; `reel`: one; `comparison`: all its tracks; `noting`: a block of it.

Passes stand in the order of trust, tape tracks count from 0, and `step` is one step of the tape's word length
in sample values. Rates are in samples per second. What is said of an argument is what its name does not say.

The rooms, each using only those before it:

- `records/`: the words of all rooms. `sound/`: what sound does by nature. `flaws/`: what a machine makes.
- `place/`: where each pass lies. `concealment/`: what it lost and concealed.
- `judge/`: which version of a place is the tape's. `compare/`: what is wrong on a track; `events/`: on all at once.
- `plan/`: what the set takes from where. `states/`: in which state each stretch is. `tell/`: what a person has to know.
"""

from assembler.aligner.align import THREADS, align_session, delivered_tracks
from assembler.aligner.plan.hand.file import write_plan
from assembler.aligner.plan.joins.fades import clipped, cross_fade, fade_gains, triangular_dither
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.edit import (
    CONSTANT_POWER,
    CUT,
    EDGE,
    IDENTICAL,
    SLIP,
    AlignedPass,
    DeliveredTrack,
    Edit,
    Filled,
    Join,
    PassFlaw,
    Span,
    TrackEdit,
    Uncured,
)
from assembler.aligner.records.runs import Runs, extent_of, size_of
from assembler.aligner.records.timemap import Stretch, TimeMap
from assembler.aligner.tell.asked.accepted import closing_of, cut_at
from assembler.aligner.tell.holdings import held_words

__all__ = [
    "CONSTANT_POWER",
    "CUT",
    "EDGE",
    "IDENTICAL",
    "SLIP",
    "THREADS",
    "AlignedPass",
    "Because",
    "DeliveredTrack",
    "Edit",
    "Filled",
    "Join",
    "PassFlaw",
    "Rule",
    "Runs",
    "Span",
    "Stretch",
    "TimeMap",
    "TrackEdit",
    "Uncured",
    "align_session",
    "clipped",
    "closing_of",
    "cross_fade",
    "cut_at",
    "delivered_tracks",
    "extent_of",
    "fade_gains",
    "held_words",
    "size_of",
    "triangular_dither",
    "write_plan",
]
