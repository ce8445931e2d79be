"""What stories are told of: the versions of a place, what each is built of, and what lies around."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.structures.builds import PEAKS, STROKE
from assembler.aligner.judge.limits import STEPPED_CAUTION
from assembler.aligner.sound.surroundings import errors_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.surroundings import Surroundings
    from assembler.arrays import Bools, Float64s, Int32s, Int64s


@dataclass(frozen=True)
class Scene:
    """A place that stories are told of.

    Args:
        versions: one array per version, all of one length.
        structures: of each version, what a machine may have made.
        around: what sound looks like here.
        parts: of the place, in order.
        open_ends: whether the place begins, ends, where a capture does.
        holders: how many captures hold each version.
        flawed_before: whether each version is known to be flawed right before the place.
        flawed_behind: the same behind it.
    """

    versions: Sequence[Int32s]
    structures: Sequence[Sequence[Structure]]
    around: Surroundings
    parts: Sequence[Range]
    open_ends: tuple[bool, bool]
    holders: Int64s
    flawed_before: Bools
    flawed_behind: Bools

    @property
    def nobody(self) -> int:
        """The state in which no version is the tape's; the others are the versions' indices."""
        return len(self.versions)

    @property
    def caution(self) -> float:
        """How many times as much is asked of all evidence."""
        return STEPPED_CAUTION if self.around.is_stepped else 1.0

    @property
    def place(self) -> Range:
        """All parts together."""
        return self.parts[0][0], self.parts[-1][1]

    @cached_property
    def errors(self) -> list[Float64s]:
        """Prediction errors of each version."""
        return [errors_of(samples, self.around) for samples in self.versions]

    @cached_property
    def same(self) -> list[Bools]:
        """For each part, shape (versions, versions): which hold the same."""
        return [
            np.array(
                [
                    [np.array_equal(a[slice(*part)], b[slice(*part)]) for b in self.versions]
                    for a in self.versions
                ]
            )
            for part in self.parts
        ]

    def holding(self, version: int, part: Range, *kinds: str) -> list[Structure]:
        """Return the structures of some kinds that hold a whole part of a version."""
        return [
            one
            for one in self.structures[version]
            if one.kind in kinds and one.start <= part[0] and part[1] <= one.end
        ]

    def stroke(self, version: int, part: Range) -> Structure | None:
        """Return the stroke that a part of a version belongs to; None if it belongs to none."""
        return next(iter(self.holding(version, part, STROKE)), None)

    def is_at_peak(self, version: int, part: Range) -> bool:
        """Return whether a version is clipped in a part, as peaks around are."""
        return bool(self.holding(version, part, *PEAKS))

    def is_built(self, version: int, part: Range) -> bool:
        """Return whether a structure of a version reaches into a part."""
        return any(one.start < part[1] and part[0] < one.end for one in self.structures[version])

    def begins(self, one: Structure, part: Range) -> bool:
        """Return whether nothing has been told yet of a structure before a part that belongs to it."""
        return part[0] == self.place[0] or one.start >= part[0]

    def are_torn(self, at: int) -> Bools:
        """Return of which versions a border tears what is one event, shape (versions,)."""
        return np.array([any(one.is_torn(at) for one in built) for built in self.structures])
