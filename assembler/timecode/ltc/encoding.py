"""Linear timecode made: a stripe as a generator would send it. What decodes is not used here but for the word.

Source: SMPTE ST 12-1, linear time code: biphase mark modulation; rise time 40 microseconds between 10 and 90 percent.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.errors import TimecodeError
from assembler.timecode.ltc.word import WORD_BITS, frames_to_words, unpack_words

if TYPE_CHECKING:
    from assembler.arrays import Bools, Bytes, Float64s
    from assembler.timecode.rates import FrameRate

RISE_SECONDS: Final = 40e-6
# A straight ramp is within 10 and 90 percent for this share of its length.
_RISE_SHARE: Final = 0.8


def encode_ltc(
    frame: int,
    count: int,
    rate: FrameRate,
    sample_rate: int,
    *,
    user_bits: int = 0,
    colour: bool = False,
    level: float = 0.5,
    first_sample: float = 0.0,
    speed: float = 1.0,
    rise_seconds: float = RISE_SECONDS,
) -> Float64s:
    """Return a stripe: the words of frames one after another, forwards.

    Args:
        frame: the first word's.
        count: of words.
        rate: how frames are labelled, and how fast they come.
        sample_rate: samples in a second.
        user_bits: 32 bits, the lowest four being the first group.
        colour: the colour-frame flag.
        level: as `modulate_words`, and so are the rest.
        first_sample: where the first word begins.
        speed: 1.0 is the rate's own.
        rise_seconds: of an edge.

    Returns:
        Shape (samples,), up to where the last word ends.

    Raises:
        TimecodeError: a count under one, user bits over 32, or as `modulate_words`.
    """
    if count < 1 or not 0 <= user_bits < 1 << 32:
        raise TimecodeError(
            f"{count} words with user bits {user_bits:#x}; allowed: 1 word or more, 32 user bits"
        )
    words = frames_to_words(np.arange(frame, frame + count), rate, user_bits=user_bits, colour=colour)
    return modulate_words(
        words,
        rate,
        sample_rate,
        level=level,
        first_sample=first_sample,
        speed=speed,
        rise_seconds=rise_seconds,
    )


def modulate_words(
    words: Bytes,
    rate: FrameRate,
    sample_rate: int,
    *,
    level: float = 0.5,
    first_sample: float = 0.0,
    speed: float = 1.0,
    rise_seconds: float = RISE_SECONDS,
) -> Float64s:
    """Return a stripe that tells words, whatever stands in them.

    The edge that ends the last word is the next one's first; a stripe cut off there tells one word less.

    Args:
        words: shape (n, 10), one or more.
        rate: how fast frames come.
        sample_rate: samples in a second.
        level: peak; a negative one turns the stripe over. The stripe rests at one peak before its first edge.
        first_sample: where the first word begins, zero or more; fractions count.
        speed: 1.0 is the rate's own.
        rise_seconds: from 10 to 90 percent of an edge; zero makes the steepest edge that samples can tell.

    Returns:
        Shape (samples,), up to where the last word ends.

    Raises:
        TimecodeError: a place before the first sample, or a speed that is not positive.
    """
    if first_sample < 0 or speed <= 0:
        raise TimecodeError(f"sample {first_sample} at speed {speed}; allowed: 0 or later, over 0")
    cell = sample_rate / (float(rate.exact) * WORD_BITS * speed)
    edges = first_sample + cell * _place_edges(unpack_words(words).ravel())
    # No steeper than a double can tell, no longer than lets each half cell reach its peak.
    ramp = min(max(rise_seconds * sample_rate / _RISE_SHARE, 1e-6), 0.45 * cell)
    sides = np.where(np.arange(edges.size) % 2 == 0, 1.0, -1.0)
    knots = np.stack((edges - ramp / 2, edges + ramp / 2), axis=1).ravel()
    values = np.stack((-sides, sides), axis=1).ravel()
    samples = np.arange(round(first_sample + cell * WORD_BITS * words.shape[0]))
    return np.asarray(level * np.interp(samples, knots, values, left=-1.0), dtype=np.float64)


def _place_edges(bits: Bools) -> Float64s:
    """Return where edges lie, in cells: where each cell begins, and in the middle of ones."""
    begins = np.arange(bits.size, dtype=np.float64)
    return np.sort(np.concatenate((begins, begins[bits] + 0.5)))
