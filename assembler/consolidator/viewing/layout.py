"""Which windows and which clip a place has. Positions are samples of the set."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assembler.consolidator.viewing.limits import (
    EDGE_SAMPLES,
    LEAST_AROUND_SAMPLES,
    LONGEST_DRAWN_SECONDS,
    LONGEST_HEARD_SECONDS,
    MOST_AROUND_SECONDS,
)

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range

WHOLE: Final = "whole place"
BEGINS: Final = "where it begins"
ENDS: Final = "where it ends"
JOIN: Final = "join"


@dataclass(frozen=True)
class Frame:
    """A window before anything is drawn in it.

    Args:
        title: of the window.
        start: first sample.
        end: first one after it.
        step: samples in a column; the last column may have fewer.
    """

    title: str
    start: int
    end: int
    step: int

    @property
    def numbers(self) -> int:
        """How many a trace has: two a column where a column is more than a sample."""
        columns = -(-(self.end - self.start) // self.step)
        return columns if self.step == 1 else 2 * columns


def frames_of(place: Range, *, is_join: bool, columns: int, length: int, sample_rate: int) -> list[Frame]:
    """Return the windows of a place: as a whole and, where that is not drawn sample by sample, at both borders.

    Args:
        place: start and end, which may be equal.
        is_join: whether it is a fade.
        columns: of a window, at most.
        length: samples of the set.
        sample_rate: samples in a second.
    """
    start, end = place
    size = end - start
    if is_join:
        around = max(EDGE_SAMPLES, size // 2)
        return [_frame(JOIN, start - around, end + around, columns, length)]
    frames = []
    if size <= LONGEST_DRAWN_SECONDS * sample_rate:
        around = min(max(LEAST_AROUND_SAMPLES, size // 2), round(MOST_AROUND_SECONDS * sample_rate))
        frames.append(_frame(WHOLE, start - around, end + around, columns, length))
        if frames[0].step == 1:
            return frames
    edges = ((BEGINS, start), (ENDS, end))
    return frames + [
        _frame(name, at - EDGE_SAMPLES, at + EDGE_SAMPLES, columns, length) for name, at in edges
    ]


def _frame(title: str, start: int, end: int, columns: int, length: int) -> Frame:
    start, end = max(0, start), min(length, end)
    return Frame(title, start, end, max(1, -(-(end - start) // columns)))


def clip_of(place: Range, *, length: int, sample_rate: int) -> Range:
    """Return what is heard of a place: a second before, the place, a second after; of a long one its beginning."""
    start, end = place
    around, most = round(MOST_AROUND_SECONDS * sample_rate), round(LONGEST_HEARD_SECONDS * sample_rate)
    last = end + around if end - start <= most else start + most
    return max(0, start - around), min(length, last)
