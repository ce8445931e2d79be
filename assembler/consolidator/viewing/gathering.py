"""The views of all tracks, cut to what a page may hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.consolidator.viewing.choosing import Limits
from assembler.report.views import View, Views

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.consolidator.viewing.choosing import Choice


@dataclass(frozen=True)
class MadeView:
    """A view as it was made.

    Args:
        order: its place among all, by what they count.
        view: with all that there was room for when places were chosen.
        window_bytes: what its numbers take at most when they are written out.
    """

    order: int
    view: View
    window_bytes: int

    @property
    def clip_bytes(self) -> int:
        """What its clips take; the same audio counts once."""
        return sum(len(audio) for audio in {clip.audio for clip in self.view.clips})


def gather_views(choices: Sequence[Choice], made: Iterable[MadeView], limits: Limits | None = None) -> Views:
    """Return the views in time order, and how many places there was no room for.

    Args:
        choices: all places of the set.
        made: what was made of them, in any order.
        limits: what was made may take more than was reckoned.
    """
    left = limits or Limits()
    views = []
    without_windows = sum(not one.columns for one in choices)
    without_clips = sum(not one.has_clips for one in choices)
    for one in sorted(made, key=lambda each: each.order):
        view = one.view
        left = Limits(left.windows - one.window_bytes, left.clips - one.clip_bytes)
        if view.windows and left.windows < 0:
            view, without_windows = replace(view, windows=()), without_windows + 1
        if view.clips and left.clips < 0:
            view, without_clips = replace(view, clips=()), without_clips + 1
        if view.windows or view.clips:
            views.append(view)
    views.sort(key=lambda view: (view.start, view.end, view.track))
    return Views(tuple(views), without_clips, without_windows)
