"""Programme loudness and loudness range of one channel, streamed.

Sources: ITU-R BS.1770-5 Annex 1 (weighting, gating), EBU R 128 and Tech 3341 (momentary, short-term,
integrated), EBU Tech 3342 (loudness range). One channel with weight 1: what the standards sum over
channels is one term here.

Nothing grows with time. Gating blocks and short-term values are kept as a histogram over loudness, 0.01 LU
wide, with the sum of the powers in each bin: means are exact but for the one bin that straddles a gate.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from assembler.consolidator.metering.slots import slot_edges, slot_energies
from assembler.consolidator.metering.weighting import Weighting

if TYPE_CHECKING:
    from assembler.arrays import Float64s

ABSOLUTE_GATE_LUFS = -70.0  # BS.1770-5 Annex 1, and Tech 3342
HIGHEST_LUFS = 30.0  # above what a sample of twice full scale can reach after weighting
BINS_PER_LU = 100
GATING_STEP_SLOTS = 10  # 100 ms: 400 ms blocks that overlap by 75 %, and Tech 3342's 10 values a second
MOMENTARY_SLOTS = 40  # 0.4 s
SHORT_TERM_SLOTS = 300  # 3 s
RELATIVE_GATE_POWER = 0.1  # -10 LU, BS.1770-5
RANGE_GATE_POWER = 0.01  # -20 LU, Tech 3342
RANGE_PERCENTILES = (0.10, 0.95)  # Tech 3342

_SECONDS_AT_ONCE = 8  # windows take in so much: each look at them costs as much as a second of them

_FILTER_AT_REST = (
    1e-15  # of one step of the converter: far under rounding, far over the slow subnormal numbers
)


def power_to_lufs(power: float) -> float | None:
    """Return the loudness of a mean square (full scale 1), or None for silence: BS.1770-5 Annex 1, eq. 2."""
    return None if power <= 0 else -0.691 + 10 * math.log10(power)


class PowerHistogram:
    """Powers above the absolute gate, counted and summed by loudness."""

    def __init__(self) -> None:
        bins = round((HIGHEST_LUFS - ABSOLUTE_GATE_LUFS) * BINS_PER_LU)
        self._counts = np.zeros(bins, dtype=np.int64)
        self._sums = np.zeros(bins)

    def add(self, powers: Float64s) -> None:
        """Take in mean squares: shape (n,), full scale 1. What is not above the absolute gate is left out."""
        audible = powers[powers > 0]
        loudness = -0.691 + 10 * np.log10(audible)
        above = loudness > ABSOLUTE_GATE_LUFS
        bins = ((loudness[above] - ABSOLUTE_GATE_LUFS) * BINS_PER_LU).astype(np.int64)
        bins = np.minimum(bins, self._counts.size - 1)
        np.add.at(self._counts, bins, 1)
        np.add.at(self._sums, bins, audible[above])

    def gated(self, relative_gate_power: float) -> tuple[Float64s, Float64s]:
        """Return the mean power and the count of each bin above the relative gate, quietest first.

        Args:
            relative_gate_power: the gate as a share of the mean of all powers held.
        """
        held = self._counts > 0
        counts = self._counts[held].astype(np.float64)
        sums = self._sums[held]
        if not counts.size:
            return np.zeros(0), np.zeros(0)
        means = sums / counts
        above = means > relative_gate_power * sums.sum() / counts.sum()
        return means[above], counts[above]

    def integrated_lufs(self) -> float | None:
        """Return the gated loudness of the powers held, BS.1770-5 Annex 1, eq. 5-7; None when none passed."""
        means, counts = self.gated(RELATIVE_GATE_POWER)
        return power_to_lufs(float((means * counts).sum() / counts.sum())) if counts.size else None

    def range_lu(self) -> float | None:
        """Return the spread between the percentiles of Tech 3342, to 0.01 LU; None when no power passed."""
        means, counts = self.gated(RANGE_GATE_POWER)
        if not counts.size:
            return None
        ends = np.cumsum(counts)
        low, high = (
            float(means[np.searchsorted(ends, math.floor((ends[-1] - 1) * share + 0.5), side="right")])
            for share in RANGE_PERCENTILES
        )
        return 10 * math.log10(high / low)


class LoudnessMeter:
    """Loudness of a track that is fed second by second.

    Args:
        sample_rate: samples per second.
        full_scale: the value that counts as 1.
    """

    def __init__(self, sample_rate: int, full_scale: float) -> None:
        self._edges = slot_edges(sample_rate)
        self._weighting = Weighting(sample_rate)
        self._slot_scale = 1 / (full_scale * full_scale * sample_rate / 100)
        self._slots_done = 0
        self._fresh: list[Float64s] = []  # mean squares of slots that no window has taken in yet
        self._recent = np.zeros(0)  # mean squares of the slots that later windows still reach
        self._blocks = PowerHistogram()
        self._short_terms = PowerHistogram()
        self._max_momentary = 0.0
        self._max_short_term = 0.0

    def update(self, values: Float64s) -> None:
        """Take in the next second, or a shorter last one: shape (n,). What fills no slot is dropped."""
        if np.abs(self._weighting.state).max() < _FILTER_AT_REST:
            self._weighting.state[:] = 0
        energies, _ = slot_energies(self._weighting.weighted(values), self._edges)
        self._fresh.append(energies * self._slot_scale)
        if len(self._fresh) == _SECONDS_AT_ONCE:
            self._settle()

    def _settle(self) -> None:
        """Let windows take in the slots that wait for them."""
        fresh = np.concatenate((np.zeros(0), *self._fresh))
        self._fresh = []
        self._recent = np.concatenate((self._recent, fresh))
        self._slots_done += fresh.size
        momentary = self._windows(MOMENTARY_SLOTS, fresh.size)
        short_term = self._windows(SHORT_TERM_SLOTS, fresh.size)
        self._max_momentary = max(self._max_momentary, float(momentary.max(initial=0.0)))
        self._max_short_term = max(self._max_short_term, float(short_term.max(initial=0.0)))
        self._blocks.add(self._on_gating_grid(momentary))
        self._short_terms.add(self._on_gating_grid(short_term))
        self._recent = self._recent[-(SHORT_TERM_SLOTS - 1) :]

    def integrated_lufs(self) -> float | None:
        """Return the gated loudness so far; None when no gating block passed."""
        self._settle()
        return self._blocks.integrated_lufs()

    def range_lu(self) -> float | None:
        """Return the loudness range so far; None when no short-term value passed."""
        self._settle()
        return self._short_terms.range_lu()

    def max_momentary_lufs(self) -> float | None:
        """Return the loudest 0.4 s, sought every 10 ms; None for silence or a shorter track."""
        self._settle()
        return power_to_lufs(self._max_momentary)

    def max_short_term_lufs(self) -> float | None:
        """Return the loudest 3 s, sought every 10 ms; None for silence or a shorter track."""
        self._settle()
        return power_to_lufs(self._max_short_term)

    def _windows(self, slots: int, fresh: int) -> Float64s:
        """Return the mean square of every window of so many slots that ends in one of the fresh ones."""
        if self._recent.size < slots or not fresh:
            return np.zeros(0)
        count = min(fresh, self._recent.size - slots + 1)
        recent = self._recent[self._recent.size - slots + 1 - count :]
        windows: Float64s = np.ndarray((count, slots), np.float64, recent, strides=recent.strides * 2)
        # Summed afresh each time: a running sum would keep the rounding of loud slots under quiet ones.
        return np.asarray(np.add.reduce(windows, axis=1) / slots, np.float64)

    def _on_gating_grid(self, windows: Float64s) -> Float64s:
        """Return those windows, of all that end with the newest slot, which end on a 100 ms step."""
        ends = np.arange(self._slots_done - windows.size, self._slots_done) + 1
        on_grid: Float64s = windows[ends % GATING_STEP_SLOTS == 0]
        return on_grid
