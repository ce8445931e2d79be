"""True peak: the highest value of the waveform between the samples, streamed.

Source: ITU-R BS.1770-5 Annex 2: oversampling by a polyphase interpolator, four times at 44.1 and 48 kHz; the
higher the sample rate, the less is needed. Twice from 80 kHz on and none from 160 kHz on keep the same
176.4 kHz at least. The interpolator is a windowed sinc of this project's design, not the example filter
printed in the annex.

Most of a track needs no interpolation. What lies between two samples is a point of the line through them, plus what
the second differences under the filter add: at most the largest of these times a number that the filter's weights give.
A stretch that by that stays within the peak so far cannot raise it, and is passed over: in sound of low tones, all but
the crests. This changes nothing in the result (tests/properties/test_metering_laws.py).
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int32s, Int64s

    Numbers: TypeAlias = Int32s | Float64s

# Samples to each side. Flat within 0.03 dB up to 0.8 of the band (6 to each side: 0.65 dB), at 1 ns more per
# sample where everything is interpolated (scripts/bench/metering.py).
HALF_TAPS = 8
WINDOW_BETA = 5.0
STRETCH = 16  # samples that are passed over or interpolated together
GROUP = 16  # stretches that are passed over together

_ROUNDED = 1 + 1e-9
"""What rounding may add, generously."""
_WINDOW_SAMPLES = STRETCH + 2 * HALF_TAPS - 1
# A product this small stays within one thread of the linear algebra library; larger ones wake all its
# threads, which wait for each other and for the other tracks' meters (a hundredfold slower,
# scripts/bench/metering.py).
_STRETCHES_PER_PRODUCT = 128


def oversampling_factor(sample_rate: int) -> int:
    """Return how many times a rate (samples per second) is oversampled: 4, 2 or 1."""
    return 4 if sample_rate < 80_000 else 2 if sample_rate < 160_000 else 1


@cache
def interpolator(factor: int) -> Float64s:
    """Return the phases of the interpolator between samples: shape (factor - 1, 16).

    Row p - 1 gives the waveform at p / factor of the way from the eighth to the ninth of 16 samples. Phase 0
    is left out: it is the sample itself. Each row sums to one.
    """
    places = np.arange(1 - HALF_TAPS, HALF_TAPS + 1)
    distances = np.arange(1, factor)[:, np.newaxis] / factor - places
    window = np.i0(WINDOW_BETA * np.sqrt(1 - (distances / HALF_TAPS) ** 2)) / np.i0(WINDOW_BETA)
    taps = np.sinc(distances) * window
    return np.asarray(taps / taps.sum(axis=1, keepdims=True), dtype=np.float64)


@cache
def _stretch_matrix(factor: int) -> Float64s:
    """Return what makes a stretch's interpolated values of its samples: shape (31, 16 (factor - 1))."""
    phases = interpolator(factor)
    matrix = np.zeros((_WINDOW_SAMPLES, STRETCH, len(phases)))
    for place in range(STRETCH):
        matrix[place : place + 2 * HALF_TAPS, place] = phases.T
    return matrix.reshape(_WINDOW_SAMPLES, -1)


@cache
def reach(factor: int) -> tuple[float, float]:
    """Return how far interpolated values may go, as shares of the largest sample and of the largest second difference.

    With weights ``w`` of samples ``x``, numbered from the one before the place: ``x[k] = x[0] + k (x[1] - x[0])`` and
    the second differences ``d[j]`` between, each ``|k - j|`` times. So the value is ``x[0] + m (x[1] - x[0])``, where
    ``m`` is the sum of ``k w[k]``, and the sum of ``g[j] d[j]``.
    """
    numbers = np.arange(1 - HALF_TAPS, HALF_TAPS + 1)
    apart = numbers - numbers[:, np.newaxis]  # of sample k from difference j
    counted = np.where(numbers[:, np.newaxis] > 0, np.maximum(apart, 0), np.maximum(-apart, 0))
    along, bends = interpolator(factor) @ numbers, interpolator(factor) @ counted.T
    return (
        float((np.abs(1 - along) + np.abs(along)).max(initial=1.0)),
        float(np.abs(bends).sum(axis=1).max(initial=0.0)),
    )


class TruePeakMeter:
    """True peak of a track that is fed in blocks; before and after the track there is silence.

    Args:
        sample_rate: samples per second.
    """

    def __init__(self, sample_rate: int) -> None:
        self._factor = oversampling_factor(sample_rate)
        self._held: Numbers | None = None
        self.peak = 0.0

    def update(self, values: Numbers) -> None:
        """Take in the next samples: shape (n,). ``peak`` then covers all but the newest few.

        Args:
            values: always of one type, which has to hold four times the largest.
        """
        self.peak = max(self.peak, float(values.max(initial=0)), -float(values.min(initial=0)))
        if self._factor == 1:
            return
        if self._held is None:
            self._held = np.zeros(2 * HALF_TAPS - 1, values.dtype)
        heard: Numbers = np.empty(self._held.size + values.size, values.dtype)
        heard[: self._held.size], heard[self._held.size :] = self._held, values
        stretches = (heard.size - (2 * HALF_TAPS - 1)) // STRETCH
        if stretches > 0:
            self._interpolate(heard, stretches)
            heard = heard[stretches * STRETCH :]
        self._held = heard.copy()

    def finish(self) -> None:
        """Let the filter run out, so that ``peak`` covers the whole track."""
        if self._held is not None:
            self.update(np.zeros(2 * HALF_TAPS + STRETCH, self._held.dtype))

    def _interpolate(self, values: Numbers, stretches: int) -> None:
        """Raise the peak by what lies between the samples of the first so many stretches."""
        groups = -(-stretches // GROUP)
        sizes, bends = _magnitudes(values, (groups + 1) * GROUP * STRETCH)
        likely = np.flatnonzero(self._limits(sizes, bends, groups, GROUP * STRETCH) > self.peak)
        if not likely.size:
            return
        # Of the groups that may raise it, each stretch is asked.
        near = (likely[:, np.newaxis] * GROUP + np.arange(GROUP + 1)).ravel()
        pieces = [one[: one.size // STRETCH * STRETCH].reshape(-1, STRETCH)[near] for one in (sizes, bends)]
        limits = self._limits(pieces[0].ravel(), pieces[1].ravel(), near.size - 1, STRETCH)
        own = (np.arange(near.size - 1) % (GROUP + 1) < GROUP) & (near[:-1] < stretches)
        limits, at = limits[own], near[:-1][own]
        if limits.max() <= self.peak:
            return
        # The most promising stretch first: the peak it gives rules out most of the others.
        self._raise_peak(values, at[[limits.argmax()]])
        self._raise_peak(values, at[limits > self.peak])

    def _limits(self, sizes: Numbers, bends: Numbers, count: int, size: int) -> Float64s:
        """Return what the waveform stays within in each of so many parts, by magnitudes in it and after."""
        of_sample, of_bend = reach(self._factor)
        limits = of_sample * _largest(sizes, count, size) + of_bend * _largest(bends, count, size)
        return np.asarray(limits * _ROUNDED, np.float64)

    def _raise_peak(self, values: Numbers, chosen: Int64s) -> None:
        """Raise the peak by what lies in the chosen stretches."""
        matrix = _stretch_matrix(self._factor)
        for first in range(0, chosen.size, _STRETCHES_PER_PRODUCT):
            part = chosen[first : first + _STRETCHES_PER_PRODUCT]
            windows = values[part[:, np.newaxis] * STRETCH + np.arange(_WINDOW_SAMPLES)]
            between = windows.astype(np.float64) @ matrix
            self.peak = max(self.peak, float(between.max()), -float(between.min()))


def _magnitudes(values: Numbers, least: int) -> tuple[Numbers, Numbers]:
    """Return the magnitudes of samples and of their second differences, with zeros up to a least size."""
    sizes, bends = np.zeros((2, max(values.size, least)), values.dtype)
    np.abs(values, out=sizes[: values.size])
    inner = bends[1 : values.size - 1]
    np.add(values[:-2], values[2:], out=inner)
    inner -= values[1:-1]
    inner -= values[1:-1]
    np.abs(inner, out=inner)
    return sizes, bends


def _largest(sizes: Numbers, count: int, size: int) -> Numbers:
    """Return the largest magnitude in each part and the one after it: a filter reaches so far, never farther."""
    parts = sizes[: (count + 1) * size].reshape(count + 1, size)
    found = parts.max(axis=1) if size > 4 * STRETCH else np.maximum.reduce(np.ascontiguousarray(parts.T))
    return np.asarray(np.maximum(found[:-1], found[1:]))
