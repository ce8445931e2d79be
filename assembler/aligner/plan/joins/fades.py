"""Crossfades that keep the level, and the dither that goes with them.

Gains follow the measured correlation r of the two sides so that the power stays constant for sides of equal
power: g_in^2 + g_out^2 + 2 r g_in g_out = 1. Source: Fink, Holters, Zoelzer, "Signal-matched power-complementary
cross-fading and dry-wet mixing", Proc. DAFx-16, 2016 (the law). Dither: triangular, two steps wide, Lipshitz,
Wannamaker, Vanderkooy, "Quantization and Dither: A Theoretical Survey", J. AES 40(5), 1992.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from assembler.arrays import Float64s, Int32s, Int64s

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)


def fade_gains(ramp: Float64s, correlation: float) -> tuple[Float64s, Float64s]:
    """Return the gains of the incoming and the outgoing side.

    Args:
        ramp: shape (n,), rising within 0 to 1.
        correlation: of the two sides, -1 to 1. Below zero it is taken as zero: the law would raise both
            sides without bound.
    """
    r = max(0.0, correlation)
    scale = 1.0 / np.sqrt(ramp**2 + (1.0 - ramp) ** 2 + 2.0 * r * ramp * (1.0 - ramp))
    return ramp * scale, (1.0 - ramp) * scale


def fade_ramp(length: int) -> Float64s:
    """Return a ramp of ``length`` samples from just above 0 to just below 1, symmetrical about its middle."""
    return (np.arange(length) + 0.5) / max(1, length)


def measured_correlation(first: Int32s, second: Int32s) -> float:
    """Return the normalised correlation of two pieces, 0 where one of them is silent, 1 where they are equal."""
    if np.array_equal(first, second):
        return 1.0
    a, b = first.astype(np.float64), second.astype(np.float64)
    power = float(np.sqrt(np.dot(a, a) * np.dot(b, b)))
    if power == 0.0:
        return 0.0
    # Six digits are what the record holds; the gains are computed from the recorded number.
    return round(min(1.0, max(-1.0, float(np.dot(a, b)) / power)), 6)


def cross_fade(outgoing: Int32s, incoming: Int32s, correlation: float, dither: Float64s, step: int) -> Int32s:
    """Return the fade from one side to the other, quantised once.

    Where both sides hold the same number the output is that number: nothing is computed there.

    Args:
        outgoing: shape (n,), the side before the join.
        incoming: shape (n,), the side after it.
        correlation: measured, decides the gains.
        dither: shape (n,), in steps, triangular over -1 to 1.
        step: one step of the delivered word length's valid bits.
    """
    gain_in, gain_out = fade_gains(fade_ramp(outgoing.size), correlation)
    mixed = incoming * gain_in + outgoing * gain_out
    rounded = np.floor(mixed / step + dither + 0.5).astype(np.int64) * step
    return np.where(outgoing == incoming, outgoing, rounded).astype(np.int32)


def clipped(samples: Int32s, bits: int, step: int) -> Int32s:
    """Return the samples held inside the range of ``bits`` in whole steps."""
    limit = 1 << (bits - 1)
    return np.clip(samples, -limit, limit - step).astype(np.int32)


def triangular_dither(positions: Int64s, seed: int) -> Float64s:
    """Return triangular dither of -1 to 1 step that depends on the place alone.

    Keyed by position, so that it is the same in whatever blocks a track is written, and can be computed again
    by whoever checks the set. Each value is the difference of two uniform numbers made by the splitmix64
    finaliser (Steele, Lea, Flood, OOPSLA 2014, constants from memory).

    Args:
        positions: shape (n,), samples from the set's first one.
        seed: a number of its own for each track.
    """
    keyed = np.uint64(seed * 0xD1342543DE82EF95 % (1 << 64))
    base = positions.astype(np.uint64) * np.uint64(2) + keyed
    return _uniform(base) - _uniform(base + np.uint64(1))


def _uniform(keys: Int64s | np.ndarray[tuple[int], np.dtype[np.uint64]]) -> Float64s:
    mixed = (keys.astype(np.uint64) + np.uint64(1)) * _GOLDEN
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed = mixed ^ (mixed >> np.uint64(31))
    return (mixed >> np.uint64(11)).astype(np.float64) * 2.0**-53
