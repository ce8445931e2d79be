"""Why something is reported: the rule that decided, and by how much it leads."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum


class Rule(Enum):
    """What decides that a pass is flawed in a place, or leaves open which one is; the values stand in the record."""

    CONCEALED = "concealed"
    """Passes differ where one of them holds what concealment makes of the samples beside it."""
    STREWN = "strewn_losses"
    """More means, or more levels held, than sound has, on several tracks of one pass at once."""
    STANDSTILL = "standstill"
    """All tracks of a pass stand still at once."""
    WRITTEN_TWICE = "written_twice"
    """All tracks of a pass hold at once what they held before, where another pass goes on."""
    STUCK_BIT = "stuck_bit"
    """A bit of the words stays as it is while those above and below it move."""
    DEAD = "dead_track"
    """A track without any sound that another pass has sound on."""
    OUTVOTED = "outvoted"
    """Several other passes agree."""
    STORY = "likeliest_story"
    """Of all that may have happened in the place this describes it most shortly."""
    LOOK_ALIKE = "look_alike"
    """What is found there may be sound as well, and no count of nats tells: open."""
    HELD_ON = "held_on"
    """All passes hold the same there, in a level or a line that is a flaw beside it."""
    AGREED = "agreed_build"
    """What several passes agree on is what a machine makes by itself."""
    CUT_OFF = "cut_off"
    """Silence, or a level, that cuts sound off and lets it in again."""
    DRAWN_LINE = "drawn_line"
    """A straight line that all passes over the place have."""
    FORETOLD = "foretold"
    """One pass by itself: its sound goes on after as was foretold before."""
    IN_PHASE = "in_phase"
    """One pass by itself: a wave that holds its levels goes on in phase after."""
    MOMENT = "same_moment"
    """Several tracks of one pass have it between the same samples."""
    OTHER_TRACKS = "other_tracks"
    """The pass is flawed between the same samples on other tracks."""
    BESIDE_SLIP = "beside_slip"
    """It lies where a slip may be, and no other pass bears it out."""
    SMEARED = "smeared"
    """It lies beside a flaw of a pass with other numbers all along: undoing its chain smears the flaw."""
    TOO_MANY = "too_many_differences"
    """Passes differ in more places than are judged one by one: open."""
    SLIP = "slip"
    """Samples before it and after it lie in their places only if some were lost or repeated."""


_EXACT = frozenset({Rule.STANDSTILL, Rule.WRITTEN_TWICE, Rule.DEAD, Rule.OUTVOTED, Rule.SLIP})
"""Rules that leave nothing to count."""


@dataclass(frozen=True)
class Because:
    """The rule that decided, and its lead.

    Args:
        rule: the rule.
        nats: how much likelier, as a natural logarithm, what is reported is than the next best in its place,
            or than chance; None where the rule is exact, or counts nothing.
    """

    rule: Rule
    nats: float | None = None

    @property
    def strength(self) -> float:
        """How much it says against others, in nats: an exact rule more than any count; no count, nothing."""
        return math.inf if self.rule in _EXACT else self.nats or 0.0


SLIPPED = Because(Rule.SLIP)


def stronger(first: Because, second: Because) -> Because:
    """Return the one that says more; of equals the first."""
    return second if second.strength > first.strength else first


def weaker(first: Because, second: Because) -> Because:
    """Return the one that says less; of equals the first."""
    return second if second.strength < first.strength else first
