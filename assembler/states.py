"""What has been saved for certain: the state of every stretch of a tape, and places that a person might listen to.

Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """What the passes of a reel know of a stretch of one of its tracks; the worst comes last."""

    PROVEN = "proven"
    """Two passes hold the same numbers and nothing speaks against them."""
    SEEN_ONCE = "seen_once"
    """One pass has it, and nothing in it looks wrong."""
    SUSPECT = "suspect"
    """It looks like a flaw, with no witness and no certainty."""
    FLAWED = "flawed"
    """No pass is known to have it right."""
    MISSING = "missing"
    """No pass covers it."""


@dataclass(frozen=True)
class StateStretch:
    """A stretch of a track in one state, from ``start`` to before ``end``."""

    start: int
    end: int
    state: State


@dataclass(frozen=True)
class TrackStates:
    """All stretches of one track of a reel, in order, without gaps.

    Args:
        track: its place on the tape, from 0.
        stretches: from the reel's first sample covered to its last; neighbours differ in state.
    """

    track: int
    stretches: tuple[StateStretch, ...]


@dataclass(frozen=True)
class Suspect:
    """A place that looks like a flaw where no other pass bears witness, or where all passes have it alike.

    It changes neither sound nor verdict.

    Args:
        reel: name of the reel.
        start: first sample.
        end: first one behind it.
        tracks: tape tracks from 0.
        kind: of the flaw that it looks like.
        odds: for it to be a flaw, in nats.
    """

    reel: str
    start: int
    end: int
    tracks: tuple[int, ...]
    kind: str
    odds: float
