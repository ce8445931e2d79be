"""What says that a pass lost samples of a track: places where that was seen, each with its nats."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.because import Because, Rule

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range


class Proofs:
    """Places of one pass on one track that show lost samples; what a place says is shared out over its samples."""

    def __init__(self) -> None:
        self._rows: list[tuple[int, int, float]] = []

    def add(self, place: Range, seen: Range, because: Because) -> None:
        """Note a place, of which only what lies in ``seen`` counts: blocks overlap."""
        start, end = max(place[0], seen[0]), min(place[1], seen[1])
        if start < end and because.nats is not None:
            self._rows.append((start, end, because.nats * (end - start) / (place[1] - place[0])))

    def within(self, place: Range) -> Because:
        """Return the rule, with the sum of its nats in a place."""
        starts, ends, nats = np.array(self._rows, np.float64).reshape(-1, 3).T
        inside = np.minimum(ends, place[1]) - np.maximum(starts, place[0])
        return Because(Rule.STREWN, float((nats * np.maximum(inside, 0) / (ends - starts)).sum()))
