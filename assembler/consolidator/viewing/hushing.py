"""Samples to a clip that is safe to hear: never louder than its source, what is flawed no louder than what is around.

Lowered is a flawed range as a whole, by one gain, with a ramp on either side: so nothing pumps. Peaks and power count
both: noise as high as the peaks of music is much louder than it.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.ranges import merged
from assembler.consolidator.viewing.limits import (
    CLIP_BITS,
    MARGIN_SAMPLES,
    QUIET_SHARE,
    RAMP_SECONDS,
    SLOT_SECONDS,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s, Int32s

    Levels = tuple[float, float]


def held_back(
    samples: Int32s, flawed: Sequence[Range], full_scale: int, sample_rate: int
) -> tuple[Float64s | Int32s, bool]:
    """Return samples with flawed ranges held back to the level around them, and whether any was.

    Args:
        samples: shape (n,).
        flawed: ranges of them; they may reach beyond.
        full_scale: one more than the highest sample value.
        sample_rate: samples in a second.

    Returns:
        Shape (n,), nowhere of greater magnitude than what came; that itself where nothing was held back.
    """
    slot = max(1, round(SLOT_SECONDS * sample_rate))
    ranges = merged(_with_margins(flawed, samples.size))
    if not ranges:
        return samples, False
    values = samples.astype(np.float64)
    peak, power = _levels_around(values, ranges, slot)
    quiet = QUIET_SHARE * full_scale
    most = max(peak, quiet), max(power, quiet**2 / 2)
    gains = [_gain(values[low:high], most, slot) for low, high in ranges]
    if all(gain == 1.0 for gain in gains):
        return samples, False
    ramp = max(1, round(RAMP_SECONDS * sample_rate))
    curve = np.ones(samples.size)
    for place, gain in zip(ranges, gains, strict=True):
        if gain < 1.0:
            _lower(curve, place, gain, ramp)
    return values * curve, True


def _with_margins(flawed: Sequence[Range], size: int) -> list[Range]:
    wide = (
        (max(0, low - MARGIN_SAMPLES), min(size, high + MARGIN_SAMPLES)) for low, high in flawed if low < high
    )
    return [(low, high) for low, high in wide if low < high]


def _levels_around(values: Float64s, ranges: Sequence[Range], slot: int) -> Levels:
    """Return peak, and mean square of the loudest slot, of what is in no range."""
    edges = [0, *(border for one in ranges for border in one), values.size]
    pieces = [values[low:high] for low, high in zip(edges[::2], edges[1::2], strict=True)]
    levels = [_levels(piece, slot) for piece in pieces]
    return max(peak for peak, _ in levels), max(power for _, power in levels)


def _levels(values: Float64s, slot: int) -> Levels:
    """Return peak, and mean square of the loudest slot, wherever it begins; what is shorter counts as a slot."""
    if not values.size:
        return 0.0, 0.0
    sums = np.cumsum(values * values)
    loudest = sums[-1] if sums.size <= slot else max(sums[slot - 1], (sums[slot:] - sums[:-slot]).max())
    return float(np.abs(values).max()), float(loudest) / slot


def _gain(values: Float64s, most: Levels, slot: int) -> float:
    peak, power = _levels(values, slot)
    return min(1.0, most[0] / peak if peak else 1.0, (most[1] / power) ** 0.5 if power else 1.0)


def _lower(curve: Float64s, place: Range, gain: float, ramp: int) -> None:
    """Lower a curve in a range and beside it, where it is not lower yet."""
    low, high = place
    falling = gain + (1.0 - gain) * (0.5 + 0.5 * np.cos(np.pi * np.arange(1, ramp + 1) / (ramp + 1)))
    curve[low:high] = np.minimum(curve[low:high], gain)
    before, after = curve[max(0, low - ramp) : low], curve[high : high + ramp]
    np.minimum(before, falling[ramp - before.size :], out=before)
    np.minimum(after, falling[::-1][: after.size], out=after)


def clip_samples(values: Float64s | Int32s, word_length: int) -> Int32s:
    """Return samples at the word length of a clip, rounded towards zero: none becomes louder, silence stays silence."""
    least, most = -(1 << (CLIP_BITS - 1)), (1 << (CLIP_BITS - 1)) - 1
    return np.clip(np.trunc(values / (1 << (word_length - CLIP_BITS))), least, most).astype(np.int32)


def flac_of(samples: Int32s, sample_rate: int) -> bytes:
    """Return samples of a clip's word length as a FLAC file with one channel, encoded the quickest way."""
    import soundfile  # noqa: PLC0415 - only where there is something to hear

    file = io.BytesIO()
    soundfile.write(
        file,
        samples.astype(np.int16),
        sample_rate,
        format="FLAC",
        subtype=f"PCM_{CLIP_BITS}",
        compression_level=0.0,
    )
    return file.getvalue()
