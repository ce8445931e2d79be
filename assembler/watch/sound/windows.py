"""From where on each track is looked at again, so that nothing hides across the end of a look.

A track that stands still waits: what it shows is known when it moves again. Positions are samples of the pass.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.aligner.compare.limits import LONE_MARGIN
from assembler.aligner.sound.limits import FIT_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s

STEP_SECONDS: Final = 1.0
"""So much new sound is looked at at once; while more has gathered, up to the longest."""

LONGEST_SECONDS: Final = 10.0
"""Sound looked at at once where much has gathered."""

EDGE: Final = FIT_SAMPLES + 64
"""What lies so near to the border of a window is left to the next one."""

OVERLAP: Final = LONE_MARGIN + 2 * EDGE
"""Samples of the window before that are looked at again."""

STILL_SECONDS: Final = 3.0
"""A track that stood still for so long has been looked at all the while; it is again when it moves."""

LONGEST_STILL_SECONDS: Final = 30.0
"""The longest standstill that is seen whole."""


@dataclass
class Windows:
    """What of a pass has been looked at.

    Args:
        rate: samples in a second.
        seen: all up to this sample.
    """

    rate: int
    seen: int = 0
    _since: dict[int, int] = field(default_factory=dict)
    _still: dict[int, int] = field(default_factory=dict)

    def due(self, length: int, *, is_last: bool) -> Range | None:
        """Return what is new; None while it is too little.

        Args:
            length: of the pass by now.
            is_last: whether nothing more will come.
        """
        new = length - self.seen
        if new <= 0 or (new < STEP_SECONDS * self.rate and not is_last):
            return None
        return self.seen, min(length, self.seen + round(LONGEST_SECONDS * self.rate))

    def starts(self, audio: TrackReader, new: Range, tracks: Iterable[int], unbroken: int) -> dict[int, int]:
        """Return from where on tracks are to be looked at; none for those that wait.

        Args:
            audio: of the pass.
            new: as it was due.
            tracks: that sound.
            unbroken: sample before which nothing is looked at again: a slip ends what can be held against another pass.
        """
        found = {}
        first = max(0, new[0] - 1)
        for track in tracks:
            change = first + _last_change(audio.read(track, first, new[1] - first))
            is_still = change == first
            self._still[track] = self._still.get(track, first) if is_still else change
            if is_still and new[0] - self._still[track] >= STILL_SECONDS * self.rate:
                continue
            since = self._since.get(track, new[0] - OVERLAP)
            found[track] = max(0, since, unbroken, new[0] - round(LONGEST_STILL_SECONDS * self.rate))
        return found

    def looked(self, new: Range, tracks: Iterable[int], cut: Mapping[int, int]) -> None:
        """Note what was looked at.

        Args:
            new: that was new.
            tracks: that were looked at.
            cut: for tracks with a flaw that may go on after, where it begins.
        """
        self.seen = new[1]
        for track in tracks:
            since = min(new[1] - OVERLAP, cut.get(track, new[1]) - LONE_MARGIN)
            if new[1] - self._still[track] > EDGE:
                since = min(since, self._still[track] - OVERLAP)
            self._since[track] = since


def _last_change(samples: Int32s) -> int:
    """Return where a track has its value of the end from on."""
    moved = np.flatnonzero(samples != samples[-1])
    return int(moved[-1]) + 1 if moved.size else 0
