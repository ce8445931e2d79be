"""Versions of a block of one track: passes that hold one and the same of it are one version, and are asked once.

Nearly everywhere all passes hold the same, so that the work grows with what differs and not with who agrees.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.limits import LEAST_TELLING
from assembler.aligner.flaws.limits import LINE_SAMPLES
from assembler.aligner.sound.glance import far_apart
from assembler.aligner.sound.limits import WINDOW_SAMPLES
from assembler.arrays import within

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.glance import Glance
    from assembler.arrays import Bools, Int32s


@dataclass(frozen=True, eq=False)
class Version:
    """What some passes hold of a block, one and the same.

    Args:
        passes: indices of these, in the order of trust.
        around: samples of the block, and ``LINE_SAMPLES`` more on either side.
        covered: timeline ranges of the block that the passes hold.
        low: timeline sample at which it begins.
        step: one step of the tape's word length.
    """

    passes: Sequence[int]
    around: Int32s
    covered: Sequence[Range]
    low: int
    step: int

    @cached_property
    def samples(self) -> Int32s:
        """Samples of the block, shape (samples,)."""
        return self.around[LINE_SAMPLES:-LINE_SAMPLES]

    @cached_property
    def present(self) -> Bools:
        """Which of them the passes hold, same shape."""
        return covering(self.covered, self.low, self.samples.size)

    @cached_property
    def sounds(self) -> Bools:
        """Which whole stretches of ``WINDOW_SAMPLES`` sound, shape (stretches,)."""
        whole = self.samples.size // WINDOW_SAMPLES * WINDOW_SAMPLES
        return far_apart(self.samples[:whole].reshape(-1, WINDOW_SAMPLES), LEAST_TELLING)

    @cached_property
    def looks_lost(self) -> Bools:
        """Of all samples but two at either end what `may_be_concealed` says of some, shape (samples - 4,)."""
        inner, before = self.samples[2:-2], self.samples[1:-3]
        return np.asarray(
            within(before + self.samples[3:-1] - 2 * inner, self.step) | (inner == before), np.bool_
        )


def versions_of(
    seen: Mapping[int, Glance], covered: Mapping[int, Sequence[Range]], low: int, step: int
) -> list[Version]:
    """Return the versions of a block.

    Args:
        seen: a look at the block and at ``LINE_SAMPLES`` on either side, of each pass that holds any of the block.
        covered: timeline ranges of the block that each of them holds.
        low: timeline sample at which the block begins.
        step: one step of the tape's word length.
    """
    holders: dict[tuple[Glance, tuple[Range, ...]], list[int]] = {}
    for index, glance in seen.items():
        holders.setdefault((glance, tuple(covered[index])), []).append(index)
    return [Version(own, glance.samples, held, low, step) for (glance, held), own in holders.items()]


def covering(ranges: Sequence[Range], low: int, size: int) -> Bools:
    """Return which samples from ``low`` on lie in some ranges, shape (size,)."""
    here = np.zeros(size, np.bool_)
    for start, end in ranges:
        here[start - low : end - low] = True
    return here
