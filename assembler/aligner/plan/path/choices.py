"""What the path over a track chooses between, what it may assume, and what it gives.

Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from assembler.aligner.records.ranges import without

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.aligner.records.ranges import Range


@dataclass(frozen=True)
class Candidate:
    """One pass that a track may be taken from.

    Args:
        name: of the pass.
        reel: its reel.
        covered: timeline ranges it has samples for, in order.
        flawed: timeline ranges in which it is not what the tape holds, in order.
        in_part: the flawed ranges in which it holds the tape's own samples in part, or perhaps beside their place.
    """

    name: str
    reel: str
    covered: tuple[Range, ...]
    flawed: tuple[Range, ...] = ()
    in_part: tuple[Range, ...] = ()

    @cached_property
    def good(self) -> list[Range]:
        """The covered ranges less the flawed ones."""
        return without(self.covered, self.flawed)


@dataclass(frozen=True)
class Forced:
    """A stretch that the sheet takes from a named pass: a punch, or the take of an accepted place.

    ``tracks`` are names of delivered tracks, None for all that the pass holds.
    """

    start: int
    end: int
    name: str
    fade_samples: int
    tracks: frozenset[str] | None = None
    is_accepted: bool = False

    def is_on(self, track: str) -> bool:
        """Return whether a delivered track is meant."""
        return self.tracks is None or track in self.tracks


@dataclass(frozen=True)
class Choice:
    """A stretch of a delivered track and the pass it comes from; None is silence."""

    start: int
    end: int
    name: str | None


@dataclass(frozen=True)
class PlannedJoin:
    """Where two choices meet.

    Args:
        at: the border that the path chose, then moved to where the join can be made.
        fade: length of the fade that would be made if the sides differ; 0 for a cut.
        outgoing: pass before, or None for silence.
        incoming: pass after, or None for silence.
        room: range in which both sides have samples to join by; the fade lies inside it.
        is_movable: whether a better place nearby may be taken; a person's own places stay.
    """

    at: int
    fade: int
    outgoing: str | None
    incoming: str | None
    room: Range
    is_movable: bool = True


@dataclass(frozen=True)
class TrackChoices:
    """What the path gives: choices in order without gaps, and one join for each border between them."""

    choices: tuple[Choice, ...]
    joins: tuple[PlannedJoin, ...]


@dataclass(frozen=True)
class PlanRules:
    """What the path may assume.

    Args:
        fade_samples: wished length of a fade.
        alike: names of passes that hold identical samples wherever both are good, as sets.
        forced: punches in order; where two overlap the later one wins (no sheet has two that contradict).
        heed_flaws: False where the sheet wants its punches only.
    """

    fade_samples: int
    alike: Mapping[str, int] = field(default_factory=dict)
    forced: tuple[Forced, ...] = ()
    heed_flaws: bool = True

    def are_alike(self, first: str, second: str) -> bool:
        """Return whether two passes hold identical samples where both are good."""
        return first in self.alike and self.alike[first] == self.alike.get(second)
