"""What says that a pass lost samples of a track: places with the rule that saw each, and its nats."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.because import Because, Rule, stronger

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s


class Proofs:
    """Places of one pass on one track that show lost samples; what a place says is shared out over its samples."""

    def __init__(self) -> None:
        self._rows: dict[Rule, list[tuple[int, int, float]]] = {}
        self._arrays: dict[Rule, Float64s] = {}

    def add(self, place: Range, seen: Range, because: Because) -> None:
        """Note a place.

        Args:
            place: from where to where the rule saw it.
            seen: only what lies in here counts: blocks overlap.
            because: the rule, and the nats of the whole place.
        """
        start, end = max(place[0], seen[0]), min(place[1], seen[1])
        if start < end and because.nats is not None:
            nats = because.nats * (end - start) / (place[1] - place[0])
            self._rows.setdefault(because.rule, []).append((start, end, nats))
            self._arrays.pop(because.rule, None)

    def within(self, place: Range) -> Because:
        """Return the rule that says most in a place, with the sum of its nats there."""
        found = Because(Rule.MEANS_IN_A_ROW, 0.0)
        for rule in sorted(self._rows, key=lambda one: one.value):
            starts, ends, nats = self._array(rule).T
            inside = np.minimum(ends, place[1]) - np.maximum(starts, place[0])
            told = float((nats * np.maximum(inside, 0) / (ends - starts)).sum())
            found = stronger(found, Because(rule, told))
        return found

    def _array(self, rule: Rule) -> Float64s:
        if rule not in self._arrays:
            self._arrays[rule] = np.array(self._rows[rule], np.float64)
        return self._arrays[rule]
