"""The word of linear timecode: 80 bits that tell one frame.

A word is kept as ten bytes, the bit sent first being the lowest of the first byte. Digits are BCD, lowest bit first;
the eight groups of user bits lie between them; the last sixteen bits are the sync word. One bit, at a place that
depends on the rate, makes the number of zeros even, so that every word starts with a change in the same direction.

Source: SMPTE ST 12-1 (time and control code), linear time code word: bit assignment, sync word, polarity correction.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.timecode.labels import Labels, frames_to_labels

if TYPE_CHECKING:
    from assembler.arrays import Bools, Bytes, Int64s
    from assembler.timecode.rates import FrameRate

WORD_BITS: Final = 80
DATA_BITS: Final = 64
# Bits 64 to 79, in the order they are sent.
SYNC: Final = (0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 1)

# First bit and number of bits of each digit of the label; the digits lie in pairs, units first.
_FRAME_DIGITS: Final = ((0, 4), (8, 2))
_SECOND_DIGITS: Final = ((16, 4), (24, 3))
_MINUTE_DIGITS: Final = ((32, 4), (40, 3))
_HOUR_DIGITS: Final = ((48, 4), (56, 2))
_USER_GROUPS: Final = (4, 12, 20, 28, 36, 44, 52, 60)
_DROP_BIT: Final = 10
_COLOUR_BIT: Final = 11
_POLARITY_BIT: Final = 27
_POLARITY_BIT_25: Final = 59


def frames_to_words(frames: Int64s, rate: FrameRate, *, user_bits: int = 0, colour: bool = False) -> Bytes:
    """Return the words that tell frames, shape (n, 10).

    Args:
        frames: shape (n,), frame indices; taken modulo 24 hours.
        rate: how they are labelled; says also whether the drop-frame flag is set.
        user_bits: 32 bits, the lowest four being the first group.
        colour: the colour-frame flag.
    """
    labels = frames_to_labels(frames, rate)
    bits = np.zeros((labels.frames.size, WORD_BITS), dtype=np.bool_)
    for digits, value in zip(_digits(), _parts(labels), strict=True):
        units, tens = digits
        _set_bits(bits, *units, value % 10)
        _set_bits(bits, *tens, value // 10)
    for group, first in enumerate(_USER_GROUPS):
        _set_bits(bits, first, 4, np.full(labels.frames.size, user_bits >> 4 * group & 15))
    bits[:, _DROP_BIT] = rate.drop
    bits[:, _COLOUR_BIT] = colour
    bits[:, DATA_BITS:] = SYNC
    # Eighty is even: the zeros are even in number exactly if the ones are.
    bits[:, _POLARITY_BIT_25 if rate.nominal == 25 else _POLARITY_BIT] = bits.sum(axis=1) % 2 == 1
    return np.packbits(bits, axis=1, bitorder="little")


def words_to_labels(words: Bytes) -> tuple[Labels, Bools]:
    """Return the label of each word, and whether its digits are decimal.

    Args:
        words: shape (n, 10).
    """
    bits = unpack_words(words)
    decimal = np.ones(bits.shape[0], dtype=np.bool_)
    parts = []
    for units, tens in _digits():
        low = _get_bits(bits, *units)
        decimal &= low <= 9
        parts.append(low + 10 * _get_bits(bits, *tens))
    frames, seconds, minutes, hours = parts
    return Labels(hours, minutes, seconds, frames), decimal


def unpack_words(words: Bytes) -> Bools:
    """Return the bits of words, shape (n, 80), in the order they are sent."""
    return np.unpackbits(words, axis=1, bitorder="little").astype(np.bool_)


def get_user_bits(words: Bytes) -> Int64s:
    """Return the 32 user bits of each word, shape (n,); the lowest four are the first group."""
    bits = unpack_words(words)
    groups = [_get_bits(bits, first, 4) << 4 * group for group, first in enumerate(_USER_GROUPS)]
    return np.asarray(np.sum(groups, axis=0), dtype=np.int64)


def get_drop_flags(words: Bytes) -> Bools:
    """Return the drop-frame flag of each word, shape (n,)."""
    return unpack_words(words)[:, _DROP_BIT]


def get_colour_flags(words: Bytes) -> Bools:
    """Return the colour-frame flag of each word, shape (n,)."""
    return unpack_words(words)[:, _COLOUR_BIT]


def are_even(words: Bytes) -> Bools:
    """Return whether each word has an even number of zeros, as the polarity-correction bit makes it; shape (n,)."""
    return np.asarray(unpack_words(words).sum(axis=1) % 2 == 0, dtype=np.bool_)


def _digits() -> tuple[tuple[tuple[int, int], tuple[int, int]], ...]:
    return (_FRAME_DIGITS, _SECOND_DIGITS, _MINUTE_DIGITS, _HOUR_DIGITS)


def _parts(labels: Labels) -> tuple[Int64s, Int64s, Int64s, Int64s]:
    return (labels.frames, labels.seconds, labels.minutes, labels.hours)


def _set_bits(bits: Bools, first: int, width: int, value: Int64s) -> None:
    bits[:, first : first + width] = value[:, None] >> np.arange(width) & 1


def _get_bits(bits: Bools, first: int, width: int) -> Int64s:
    return np.asarray(bits[:, first : first + width] @ (1 << np.arange(width)), dtype=np.int64)
