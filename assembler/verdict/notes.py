"""Notes: what was corrected or found, told with its place. Never a silent guess."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

if TYPE_CHECKING:
    from assembler.verdict.signed import Acceptance

NoteKind: TypeAlias = Literal[
    "relabelled",
    "header_repaired",
    "short_track",
    "tracks_exchanged",
    "polarity_inverted",
    "level_differs",
    "retake_refused",
    "track_left_out",
    "not_transparent",
    "log_clock",
    "not_clocked",
    "timecode_gap",
    "timecode_jump",
    "undecided",
    "accepted",
    "tape_suspected",
    "machine_suspected",
    "caution",
    "other",
]
"""Every kind of note that a record may hold; its schema has the same."""

NEED_A_PERSON: Final[frozenset[NoteKind]] = frozenset(
    {"undecided", "retake_refused", "track_left_out", "not_clocked", "not_transparent", "level_differs"}
)
"""Kinds of note that leave a question only a person can answer.

A pass that runs along with another one and is nowhere identical with it belongs to them: one of the two chains
changes numbers, and nothing in the numbers says which, so that what is delivered may be the wrong one's.
"""


@dataclass(frozen=True)
class Held:
    """What one pass has at a place that no pass is known to have right.

    Args:
        pass_name: of the pass.
        kind: of its flaw; "missing" where it has nothing, "" where no flaw of it is known.
        text: the same, and how it sounds, in an engineer's words.
        is_taken: whether the set has the place from it, at least in part.
    """

    pass_name: str
    kind: str
    text: str
    is_taken: bool


@dataclass(frozen=True)
class Note:
    """One correction or finding.

    Args:
        kind: one of the record's kinds of note.
        text: a sentence for the engineer.
        pass_name: the pass it is about, if one.
        tracks: tape tracks from 0; empty where all are meant.
        start: first pass sample concerned, where there is a place.
        end: first pass sample after it.
        held: of an undecided place, what each pass has there.
        theme: what notes of many passes may tell in one line together, in words that hold for each of them, its
            ``count`` apart; "" where a note has to stand for itself.
        count: how many of what the theme tells of this pass has; None where it counts nothing.
        rule: of an undecided place, what left it open, by the record's name; "" of other notes.
        nats: by how much the likeliest of what may be reported there leads; None where nothing was counted.
        accepted: of what would ask for a person, the word of one that it may stand.
    """

    kind: NoteKind
    text: str
    pass_name: str | None = None
    tracks: tuple[int, ...] = ()
    start: int | None = None
    end: int | None = None
    held: tuple[Held, ...] = ()
    theme: str = ""
    count: int | None = None
    rule: str = ""
    nats: float | None = None
    accepted: Acceptance | None = None

    @property
    def needs_a_person(self) -> bool:
        """Whether somebody has to look before the set can be called sound."""
        return self.kind in NEED_A_PERSON
