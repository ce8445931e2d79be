"""Notes: what was corrected or found, told with its place. Never a silent guess."""

from __future__ import annotations

from dataclasses import dataclass

_NEED_A_PERSON = frozenset({"undecided", "retake_refused", "not_clocked"})


@dataclass(frozen=True)
class Note:
    """One correction or finding.

    Args:
        kind: one of the record's kinds of note.
        text: a sentence for the engineer.
        pass_name: the pass it is about, if one.
        tracks: tape tracks from 0; empty where all are meant.
        start: first pass sample concerned, where there is a place.
        end: first pass sample behind it.
    """

    kind: str
    text: str
    pass_name: str | None = None
    tracks: tuple[int, ...] = ()
    start: int | None = None
    end: int | None = None

    @property
    def needs_a_person(self) -> bool:
        """Whether somebody has to look before the set can be called sound."""
        return self.kind in _NEED_A_PERSON
