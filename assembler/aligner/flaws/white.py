"""How much of its power a window's own predictor leaves: nearly all of it where the window is white.

The power that a predictor leaves comes from the Levinson-Durbin recursion on each window's autocorrelation (Durbin,
"The fitting of time-series models", Revue de l'Institut International de Statistique 28, 1960; from memory).

Audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from assembler.aligner.flaws.limits import WHITE, WINDOWS_AT_ONCE
from assembler.aligner.records.limits import NEIGHBOURS
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.levels import quick_length

if TYPE_CHECKING:
    from assembler.arrays import Float32s, Float64s, Int32s

_LIKELY_WHITE = WHITE - np.sqrt(np.finfo(np.float32).eps)
"""Less by more than single precision loses."""


def unpredicted_shares(samples: Int32s, size: int, order: int) -> Float64s:
    """Return the share of its power that each window's own predictor leaves, half a window from one to the next."""
    if samples.size < size:
        return np.zeros(0)
    correlation = _correlation(sliding_window_view(samples, size)[:: size // 2], order)
    power = correlation[0] * (1.0 + 1e-9) + 1e-3 * size
    error, taps = power.copy(), np.zeros((order, power.size))
    for index in range(order):
        known = correlation[index + 1] - (taps[:index] * correlation[index:0:-1]).sum(axis=0)
        reflection = known / error
        taps[:index] -= reflection * taps[:index][::-1].copy()
        taps[index] = reflection
        error *= np.maximum(1.0 - reflection**2, 1e-12)
    return np.asarray(error / power, np.float64)


def white_shares(samples: Int32s, products: Products, size: int, order: int) -> Float64s:
    """Return what `unpredicted_shares` does, but zero for windows that are not white, nor beside one that is.

    A predictor of two samples never leaves less than a longer one, and is to be had for a tenth of the work: windows
    of which it leaves little are not white. Nor does one of a single sample, which is enough for nearly all sound.
    """
    windows = max(0, (samples.size - size) // (size // 2) + 1)
    likely = np.flatnonzero(_most_left(products, size, windows) > _LIKELY_WHITE)
    reach = NEIGHBOURS + 1
    asked = np.zeros(windows + 2 * reach, np.bool_)
    for offset in range(2 * reach + 1):
        asked[likely + offset] = True
    shares = np.zeros(windows)
    for first, last in ranges_of(asked[reach : reach + windows], bridge=NEIGHBOURS):
        piece = samples[first * (size // 2) : (last - 1) * (size // 2) + size]
        shares[first:last] = unpredicted_shares(piece, size, order)
    return shares


class Products:
    """Each sample of a track times the one so many later: found when asked for, and kept."""

    def __init__(self, samples: Int32s) -> None:
        self._sound = samples.astype(np.float32)
        self._known: dict[int, Float32s] = {}

    def in_windows(self, lag: int, size: int, windows: int) -> Float32s:
        """Return the weighed sums over windows of a size, half a window from one to the next, shape (windows,)."""
        hop, last = size // 2, self._sound.size - lag
        if lag not in self._known:
            product = self._known[lag] = np.zeros(self._sound.size, np.float32)
            np.multiply(self._sound[:last], self._sound[lag:], out=product[:last])
        halves = self._known[lag][: (windows + 1) * hop].reshape(-1, hop) @ _weights(size, lag)
        return np.asarray(halves[:-1, 0] + halves[1:, 1], np.float32)


@cache
def _weights(size: int, lag: int) -> Float32s:
    """Return what products of a window count for, its second half beside its first, shape (size / 2, 2)."""
    shape, weights = np.hanning(size), np.zeros(size, np.float32)
    weights[: size - lag] = shape[: size - lag] * shape[lag:]
    return np.ascontiguousarray(weights.reshape(2, size // 2).T)


def _most_left(products: Products, size: int, windows: int) -> Float32s:
    """Return the share of each window's power that its best predictor of two samples leaves; of one, if that tells."""
    if not windows:
        return np.zeros(0, np.float32)
    power, beside = (products.in_windows(lag, size, windows) for lag in (0, 1))
    power = power * np.float32(1.0 + 1e-9) + np.float32(1e-3 * size)
    first = beside / power
    left = 1 - first**2
    if (left > _LIKELY_WHITE).any():
        behind = products.in_windows(2, size, windows) - first * beside
        second = behind / np.maximum(power * left, np.float32(1e-3) * power)
        left *= np.maximum(1 - second**2, 0)
    return np.asarray(left, np.float32)


def _correlation(windows: Int32s, order: int) -> Float64s:
    """Return how windows, shape (windows, samples), correlate with themselves at lags from 0, shape (lags, windows).

    A few windows are transformed at a time, which stay in the processor's own memory: half the time of all at once.
    """
    # Zeros as far as the furthest lag reaches are enough.
    size = windows.shape[1]
    length, shape = quick_length(size + order), np.hanning(size)
    correlation = np.empty((order + 1, windows.shape[0]))
    for first in range(0, windows.shape[0], WINDOWS_AT_ONCE):
        chosen = slice(first, first + WINDOWS_AT_ONCE)
        spectra = np.fft.rfft(windows[chosen] * shape, length, axis=1)
        powers = spectra.real**2 + spectra.imag**2
        correlation[:, chosen] = np.fft.irfft(powers, length, axis=1)[:, : order + 1].T
    return correlation
