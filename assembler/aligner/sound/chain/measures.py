"""What two captures of one place can be measured by: likeness, delay, fraction of a sample, bits in use; and where.

Audio is ``float64`` or ``int32``, shape ``(samples,)``, in sample values.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import LEAST_TELLING, NEARLY_ALL
from assembler.aligner.records.ranges import common
from assembler.aligner.sound.limits import MOST_PIECES, PIECE_SAMPLES
from assembler.arrays import distinct

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.arrays import Float64s, Int32s


def likeness(first: Float64s, second: Float64s) -> float:
    """Return how alike two pieces of one length are, -1 to 1; 0 where one of them is silent."""
    power = float(np.sqrt(np.dot(first, first) * np.dot(second, second)))
    return float(np.dot(first, second)) / power if power else 0.0


def most_alike(pairs: Sequence[tuple[Float64s, Float64s]]) -> list[tuple[Float64s, Float64s]]:
    """Return the half of the pairs that are most alike: a flaw in one of them says nothing of a chain."""
    rated = sorted(range(len(pairs)), key=lambda index: -abs(likeness(*pairs[index])))
    return [pairs[index] for index in rated[: (len(pairs) + 1) // 2]]


def find_delay(reference: Int32s, piece: Int32s) -> tuple[int, float]:
    """Return where in a longer stretch of sound a piece lies, and how alike it is there, -1 to 1.

    Of places that explain the piece as well, as the bars of a loop do, it is the one next to the middle.

    Args:
        reference: shape (n,), n no less than that of the piece.
        piece: shape (m,).
    """
    import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

    sound, own = reference.astype(np.float64), piece.astype(np.float64)
    products = scipy.signal.correlate(sound, own, mode="valid", method="fft")
    sums = np.concatenate(([0.0], np.cumsum(sound**2)))
    powers = np.maximum(sums[own.size :] - sums[: -own.size], 1e-9)
    # What rounding leaves of the power of soft sound behind loud may make it more than alike.
    alike = np.clip(products / np.sqrt(powers * max(float(np.dot(own, own)), 1e-9)), -1.0, 1.0)
    beside = np.pad(np.abs(alike), 1)
    size = beside[1:-1]
    unexplained = 1 - size.max() + np.finfo(np.float32).eps
    is_peak = (size >= beside[:-2]) & (size >= beside[2:]) & (NEARLY_ALL * (1 - size) <= unexplained)
    places = np.flatnonzero(is_peak)
    best = int(places[np.argmin(np.abs(2 * places - size.size + 1))])
    return best, float(alike[best])


def fraction_behind(first: Float64s, second: Float64s) -> tuple[float, float]:
    """Return the fraction of a sample that a piece lies later than another one, and how much there is to tell it from.

    The slope of the cross phase, by weighted least squares through zero, weights the cross power; polarity aside.
    Right within half a sample.

    Args:
        first: shape (n,).
        second: shape (n,), the same place of another capture.
    """
    window = np.hanning(first.size)
    cross = np.fft.rfft(first * window) * np.conj(np.fft.rfft(second * window))
    frequencies = np.linspace(0.0, np.pi, cross.size)
    power = np.abs(cross)
    phase = np.angle(cross * np.sign(np.dot(first, second)))
    total = float(np.sum(power * frequencies**2))
    return (float(np.sum(power * frequencies * phase)) / total, float(power.sum())) if total else (0.0, 0.0)


def empty_bits(pieces: Iterable[Int32s]) -> int:
    """Return how many of the lowest bits are zero in every sample."""
    used = 0
    for samples in pieces:
        used |= int(np.bitwise_or.reduce(samples))
    return (used & -used).bit_length() - 1 if used else 0


def empty_bits_of_both(first: Sequence[Int32s], second: Sequence[Int32s]) -> tuple[int, int]:
    """Return how many of the lowest bits are zero in every sample of two captures; equal where too few levels tell."""
    empty = empty_bits(first), empty_bits(second)
    whole = first if empty[0] < empty[1] else second
    levels = {abs(int(level)) for samples in whole for level in distinct(samples)}
    return empty if len(levels) >= LEAST_TELLING else (min(empty), min(empty))


def pieces_of_both(first: PlacedPass, second: PlacedPass, track: int) -> list[tuple[Int32s, Int32s]]:
    """Return the same places of a track of both, spread over what they share; each lies in one stretch of either."""
    both = [
        (low, high)
        for low, high in common(first.covered(track), second.covered(track))
        if high - low >= PIECE_SAMPLES
    ]
    every = max(PIECE_SAMPLES, sum(high - low for low, high in both) // MOST_PIECES)
    return [
        (first.samples(track, at, at + PIECE_SAMPLES), second.samples(track, at, at + PIECE_SAMPLES))
        for low, high in both
        for at in range(low, high - PIECE_SAMPLES + 1, every)
    ]
