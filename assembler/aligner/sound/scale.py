"""What a sample value means in a session: steps of the tape's word length, full scale, time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from assembler.sheet import Sheet


@dataclass(frozen=True)
class Scale:
    """The scale of a session's samples.

    Args:
        sample_rate: in samples per second.
        step: one step of the tape's word length, in sample values.
        bits: of a sample value: the delivered word length.
    """

    sample_rate: int
    step: int
    bits: int

    def dbfs(self, value: int) -> str:
        """Return a sample value, not 0, in decibels below full scale."""
        return f"{20 * np.log10(value / (1 << (self.bits - 1))):.1f} dBFS"

    def steps(self, value: int) -> int:
        """Return a sample value in steps, rounded up."""
        return -(-value // self.step)


def scale_of(sheet: Sheet) -> Scale:
    """Return the scale of a session."""
    bits = sheet.deliver.word_length
    return Scale(sheet.session.sample_rate, 1 << (bits - sheet.session.bit_depth), bits)
