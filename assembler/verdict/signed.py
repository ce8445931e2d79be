"""What a person has signed in the sheet, on the timeline: places that may stand, stretches that were never recorded."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True)
class Acceptance:
    """A stretch of a reel that a person lets stand as it is.

    Args:
        reel: name of the reel.
        start: first timeline sample.
        end: first one after it.
        tracks: tape tracks from 0.
        take: pass that is to be used there; None for the one that the program takes.
        known: passes that the person has judged by.
        reason: why.
        by: who.
        margin: a place that sticks out by fewer samples is meant as a whole: a frame, as a sheet names no less.
        news: by track, passes that the person did not know and that have something else there: void on that track.
        was_open: whether anything there would ask for a person if it were not for this.
    """

    reel: str
    start: int
    end: int
    tracks: tuple[int, ...]
    take: str | None
    known: tuple[str, ...]
    reason: str
    by: str
    margin: int = 1
    news: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    was_open: bool = False

    def covers(self, start: int, end: int) -> bool:
        """Return whether a place, in timeline samples, lies in it, but for less than a frame at either end."""
        meets = self.start < end and start < self.end
        return meets and self.start - self.margin < start and end < self.end + self.margin

    @property
    def standing(self) -> tuple[int, ...]:
        """The tracks on which it stands."""
        return tuple(track for track in self.tracks if track not in self.news)


@dataclass(frozen=True)
class UnrecordedStretch:
    """A stretch of a reel that was never recorded: timeline samples, tape tracks from 0."""

    reel: str
    start: int
    end: int
    tracks: tuple[int, ...]
