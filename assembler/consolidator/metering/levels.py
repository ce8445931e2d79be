"""Measures of the samples as numbers: peak, RMS, offset, bits in use, clipping, digital silence. Streamed.

Rules, each common practice without a source:

- RMS is of full scale as 1: a sine that touches full scale reads -3.01 dBFS.
- Bits in use run from the sign down to the lowest bit that is ever set: 16 for 16-bit audio in 24-bit
  samples.
- A clipped run is three or more samples in a row at the same end of the scale: the highest code, or the
  lowest, or the one above the lowest (many converters clip alike to both sides and never give the lowest).
- Digitally silent is a 10 ms slot whose samples are all zero: lone zeros, as in any quiet passage, do not
  count.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from assembler.consolidator.metering.slots import slot_edges, slot_energies

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int32s

SHORTEST_CLIPPED_RUN = 3


def amplitude_to_db(amplitude: float) -> float | None:
    """Return an amplitude (full scale 1) in dB, or None for silence."""
    return None if amplitude <= 0 else 20 * math.log10(amplitude)


class ClipCounter:
    """Counts clipped runs over blocks; a run may cross from one block to the next.

    Args:
        full_scale: one more than the highest code.
    """

    def __init__(self, full_scale: int) -> None:
        self._highest = full_scale - 1
        self._open_side = 0
        self._open_length = 0
        self._closed_runs = 0

    def update(self, samples: Int32s, peak: int = 1 << 31) -> None:
        """Take in the next samples: shape (n,), n > 0; where it is known, with their largest magnitude."""
        if not self._open_length and peak < self._highest:
            return
        sides = (samples >= self._highest).astype(np.int8) - (samples <= -self._highest)
        starts = np.concatenate(([0], np.flatnonzero(np.diff(sides)) + 1))
        lengths = np.diff(starts, append=sides.size)
        run_sides = sides[starts]
        if run_sides[0] == self._open_side:
            lengths[0] += self._open_length
        else:
            self._close()
        clipped = (run_sides[:-1] != 0) & (lengths[:-1] >= SHORTEST_CLIPPED_RUN)
        self._closed_runs += int(clipped.sum())
        self._open_side = int(run_sides[-1])
        self._open_length = int(lengths[-1]) if self._open_side else 0

    def runs(self) -> int:
        """Return the clipped runs so far, one that still goes on among them."""
        return self._closed_runs + (self._open_length >= SHORTEST_CLIPPED_RUN)

    def _close(self) -> None:
        self._closed_runs = self.runs()
        self._open_length = 0


class SampleMeter:
    """Measures of a track that is fed second by second.

    Args:
        sample_rate: samples per second.
        full_scale: one more than the highest code, a power of two.
    """

    def __init__(self, sample_rate: int, full_scale: int) -> None:
        self._edges = slot_edges(sample_rate)
        self._full_scale = full_scale
        self._clips = ClipCounter(full_scale)
        self._samples = 0
        self._sum = 0
        self._energy = 0.0
        self._peak = 0
        self._bits = 0
        self._silent_samples = 0

    def update(self, samples: Int32s, values: Float64s) -> None:
        """Take in the next second, or a shorter last one.

        Args:
            samples: shape (n,), n > 0.
            values: the same numbers as float64, which the caller has at hand.
        """
        self._samples += samples.size
        # Whole numbers of a second, summed as such: none is too large for a float64 to hold.
        self._sum += int(values.sum())
        peak = max(int(samples.max()), -int(samples.min()))
        self._peak = max(self._peak, peak)
        self._bits |= int(np.bitwise_or.reduce(samples))
        self._clips.update(samples, peak)
        whole, rest = slot_energies(values, self._edges)
        energies = np.concatenate((whole, rest))
        self._energy += float(energies.sum())
        lengths = np.diff(np.minimum(self._edges[: energies.size + 1], samples.size))
        self._silent_samples += int(lengths[energies == 0].sum())

    def peak_dbfs(self) -> float | None:
        """Return the largest magnitude; None for silence."""
        return amplitude_to_db(self._peak / self._full_scale)

    def rms_dbfs(self) -> float | None:
        """Return the root of the mean square; None for silence."""
        mean_square = self._energy / max(self._samples, 1)
        return amplitude_to_db(math.sqrt(mean_square) / self._full_scale)

    def dc_offset(self) -> float:
        """Return the mean of the samples as a share of full scale."""
        return self._sum / max(self._samples, 1) / self._full_scale

    def bits_in_use(self) -> int:
        """Return the word length that would hold every sample; 0 for silence."""
        if not self._bits:
            return 0
        unused = (self._bits & -self._bits).bit_length() - 1
        return self._full_scale.bit_length() - unused

    def clipped_runs(self) -> int:
        """Return how many runs of samples stand at an end of the scale."""
        return self._clips.runs()

    def silent_share(self) -> float:
        """Return the share of the track, 0 to 1, in digitally silent slots; 0 for a track without samples."""
        return self._silent_samples / max(self._samples, 1)
