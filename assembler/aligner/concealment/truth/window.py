"""What captures of one track hold of a stretch in which they differ, and what is chosen of it.

Audio is ``int64`` in sample values, shape ``(captures, samples)``; positions count from the window's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.marks import Marks, marks_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.concealment.marks import Machine
    from assembler.arrays import Bools, Float64s, Int64s


@dataclass(frozen=True)
class Window:
    """What captures of one track hold of one stretch.

    Args:
        names: of the captures.
        versions: shape (captures, samples).
        present: where each capture holds samples at all, shape (captures, samples).
        step: one step of the tape's word length, in sample values.
        bits: the tape's word length.
        machines: how the machine of each capture conceals.
    """

    names: Sequence[str]
    versions: Int64s
    present: Bools
    step: int
    bits: int
    machines: Sequence[Machine]

    @cached_property
    def marks(self) -> Marks:
        """What each sample may be, of all captures: shape (captures, samples)."""
        found: list[Marks] = []
        for number, (own, machine) in enumerate(zip(self.versions, self.machines, strict=True)):
            # Nearly all captures hold the same.
            same = (
                found[other]
                for other in range(number)
                if self.machines[other] == machine and np.array_equal(self.versions[other], own)
            )
            found.append(next(same, None) or marks_of(own, self.step, machine))
        return Marks(np.stack([one.mean for one in found]), np.stack([one.held for one in found]))

    @cached_property
    def differing(self) -> Bools:
        """Where captures that are present differ, shape (samples,)."""
        largest, least = (np.where(self.present, self.versions, none) for none in (-(1 << 62), 1 << 62))
        return np.asarray(least.min(axis=0) < largest.max(axis=0), np.bool_)


@dataclass(frozen=True)
class Choice:
    """The likeliest truth of each differing sample, shape (differing samples,).

    Args:
        truth: the capture whose value it is; the number of captures where it is nobody's.
        lead: over any other value, in nats.
        lost: which captures lost the sample, shape (captures, differing samples).
    """

    truth: Int64s
    lead: Float64s
    lost: Bools
