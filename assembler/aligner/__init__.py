"""From passes to an edit: time maps, flaws, the plan of spans and joins."""

from assembler.aligner.edit import (
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
from assembler.aligner.fades import clipped, cross_fade, fade_gains, triangular_dither
from assembler.aligner.holdings import held_words
from assembler.aligner.planfile import write_plan
from assembler.aligner.runs import Runs, extent_of, size_of
from assembler.aligner.session import THREADS, align_session, delivered_tracks
from assembler.aligner.timemap import Stretch, TimeMap

__all__ = [
    "CONSTANT_POWER",
    "CUT",
    "EDGE",
    "IDENTICAL",
    "SLIP",
    "THREADS",
    "AlignedPass",
    "DeliveredTrack",
    "Edit",
    "Filled",
    "Join",
    "PassFlaw",
    "Runs",
    "Span",
    "Stretch",
    "TimeMap",
    "TrackEdit",
    "Uncured",
    "align_session",
    "clipped",
    "cross_fade",
    "delivered_tracks",
    "extent_of",
    "fade_gains",
    "held_words",
    "size_of",
    "triangular_dither",
    "write_plan",
]
