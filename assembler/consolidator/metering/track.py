"""The meter of one track: loudness, true peak and sample levels in one pass, in memory that does not grow."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.consolidator.metering.levels import SampleMeter, amplitude_to_db
from assembler.consolidator.metering.loudness import LoudnessMeter
from assembler.consolidator.metering.true_peak import TruePeakMeter
from assembler.record.written import TrackLevels

if TYPE_CHECKING:
    from assembler.arrays import Int32s

LOWEST_SAMPLE_RATE = 8_000
HIGHEST_SAMPLE_RATE = 768_000
LARGEST_FULL_SCALE = 1 << 31
LARGEST_BENT = 1 << 28
"""Full scale up to which a second difference fits into 32 bits."""


class TrackMeter:
    """Measures one track, fed in blocks of any size; the sizes make no difference to the last bit of the
    result.

    Args:
        sample_rate: samples per second, 8000 to 768000.
        full_scale: one more than the highest code: 2.0 ** 15 for 16-bit audio; a power of two, at most 2.0 **
            31.

    Raises:
        ValueError: a rate or full scale outside what is allowed.
    """

    def __init__(self, sample_rate: int, full_scale: float) -> None:
        if not LOWEST_SAMPLE_RATE <= sample_rate <= HIGHEST_SAMPLE_RATE:
            raise ValueError(
                f"sample rate {sample_rate}: allowed are {LOWEST_SAMPLE_RATE} to {HIGHEST_SAMPLE_RATE}"
            )
        steps = int(full_scale)
        if steps != full_scale or not 2 <= steps <= LARGEST_FULL_SCALE or steps & (steps - 1):
            raise ValueError(f"full scale {full_scale}: allowed are powers of two, 2 to 2**31")
        self._full_scale = steps
        self._loudness = LoudnessMeter(sample_rate, steps)
        self._true_peak = TruePeakMeter(sample_rate)
        self._samples = SampleMeter(sample_rate, steps)
        # All arithmetic is done on whole seconds counted from the first sample, whatever comes in:
        # sums in floating point depend on where they are cut.
        self._second = np.zeros(sample_rate, dtype=np.int32)
        self._filled = 0
        self._levels: TrackLevels | None = None

    def update(self, samples: Int32s) -> None:
        """Take in the next samples: shape (n,), any n, any stride.

        Raises:
            ValueError: the result was asked for already.
        """
        if self._levels is not None:
            raise ValueError("the track is finished: its levels have been given")
        while samples.size:
            if not self._filled and samples.size >= self._second.size:
                taken = self._second.size
                self._measure(np.ascontiguousarray(samples[:taken]))
            else:
                taken = min(samples.size, self._second.size - self._filled)
                self._second[self._filled : self._filled + taken] = samples[:taken]
                self._filled += taken
                if self._filled == self._second.size:
                    self._measure(self._second)
                    self._filled = 0
            samples = samples[taken:]

    def result(self) -> TrackLevels:
        """Return what was measured. The first call ends the track."""
        if self._levels is None:
            if self._filled:
                self._measure(self._second[: self._filled])
            self._true_peak.finish()
            self._levels = self._gather()
        return self._levels

    def _measure(self, samples: Int32s) -> None:
        values = samples.astype(np.float64)
        self._samples.update(samples, values)
        self._loudness.update(values)
        # Whole numbers where their second differences fit: half the bytes, and most of them only rule a peak out.
        self._true_peak.update(samples if self._full_scale <= LARGEST_BENT else values)

    def _gather(self) -> TrackLevels:
        return TrackLevels(
            integrated_lufs=self._loudness.integrated_lufs(),
            loudness_range_lu=self._loudness.range_lu(),
            max_momentary_lufs=self._loudness.max_momentary_lufs(),
            max_short_term_lufs=self._loudness.max_short_term_lufs(),
            true_peak_dbtp=amplitude_to_db(self._true_peak.peak / self._full_scale),
            sample_peak_dbfs=self._samples.peak_dbfs(),
            rms_dbfs=self._samples.rms_dbfs(),
            dc_offset=self._samples.dc_offset(),
            bits_in_use=self._samples.bits_in_use(),
            clipped_runs=self._samples.clipped_runs(),
            silent_share=self._samples.silent_share(),
        )
