"""What a stretch of a version is wholly made of, where a machine made it.

Positions count from the version's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range

CLIPPED, LONG_CLIPPED = "clipped", "long clipped"
PEAKS = (CLIPPED, LONG_CLIPPED)
FORETOLD_COPY, STROKE = "foretold copy", "stroke"


@dataclass(frozen=True)
class Structure:
    """A stretch that is wholly of one build.

    Args:
        kind: "mute", "hold", "straight" or "repeat"; or what may well be the sound's own: "clipped" for a level no
            longer than peaks around are cut off at, "long clipped" for one that is longer, or fills the place;
            "foretold copy" for a block that is likely to stand twice by nature, "stroke" for one that begins and ends
            in silence.
        start: first sample.
        end: first sample behind it.
        anchors: samples beside it that it was made from: a level held is that of the last good sample, a line
            runs between two.
        is_adjoined: whether it is a block of its own length played twice in a row.
        is_exact: whether it is a line to the last sample: a machine's.
        natural: for how many samples from the first on the sound may hold a level by itself.
    """

    kind: str
    start: int
    end: int
    anchors: tuple[int, ...] = ()
    is_adjoined: bool = False
    is_exact: bool = False
    natural: int = 0

    @property
    def is_level(self) -> bool:
        """Whether it is a level other than zero that is held."""
        return self.kind in ("hold", *PEAKS)

    def spans(self, place: Range) -> bool:
        """Return whether a whole place is of it."""
        return self.start <= place[0] and place[1] <= self.end

    def is_torn(self, at: int) -> bool:
        """Return whether a border goes through what is one event: then it is not the tape's on one side alone."""
        return self.kind not in (FORETOLD_COPY, STROKE) and self.start + self.natural < at < self.end
