"""Linear timecode against the published word and waveform.

Source: SMPTE ST 12-1 (time and control code), linear time code: bit assignment of the 80-bit word, sync word, polarity
    correction, biphase mark, rise time. The packed bytes are those that libltc 1.3.2 makes of the same labels.
"""

from __future__ import annotations

import numpy as np
import pytest

from assembler.timecode import frame_rate, parse_label
from assembler.timecode.ltc import encode_ltc
from assembler.timecode.ltc.word import (
    are_even,
    frames_to_words,
    get_user_bits,
    unpack_words,
    words_to_labels,
)

PACKED = [
    ("24", "01:02:03:04", "04 00 03 00 02 00 01 00 FC BF"),
    ("30", "01:02:03:04", "04 00 03 00 02 00 01 00 FC BF"),
    ("29.97", "01:02:03:04", "04 00 03 00 02 00 01 00 FC BF"),
    ("29.97df", "01:02:03:04", "04 04 03 08 02 00 01 00 FC BF"),
    ("25", "01:02:03:04", "04 00 03 00 02 00 01 00 FC BF"),
    ("30", "10:00:00:01", "01 00 00 08 00 00 00 01 FC BF"),
    ("25", "10:00:00:01", "01 00 00 00 00 00 00 09 FC BF"),
]
SYNC = "0011111111111101"
# First bit of each group of user bits, from the first to the eighth.
USER_BITS = (4, 12, 20, 28, 36, 44, 52, 60)
# First bit and number of bits of each digit, and a label that has all of its bits set to what the digit can be.
DIGITS = [(0, 4, 9), (8, 2, 2), (16, 4, 9), (24, 3, 5), (32, 4, 9), (40, 3, 5), (48, 4, 3), (56, 2, 2)]


def word_of(label: str, name: str, user_bits: int = 0) -> str:
    """Return a word's bits in the order they are sent."""
    rate = frame_rate(name)
    words = frames_to_words(np.array([parse_label(label, rate)]), rate, user_bits=user_bits)
    return "".join(str(int(bit)) for bit in unpack_words(words)[0])


@pytest.mark.parametrize(("name", "label", "packed"), PACKED)
def test_packs_words(name: str, label: str, packed: str) -> None:
    """A label at each rate makes the published bytes, and they make the label."""
    rate = frame_rate(name)
    words = frames_to_words(np.array([parse_label(label, rate)]), rate)
    assert words.tobytes() == bytes.fromhex(packed)
    labels, decimal = words_to_labels(np.frombuffer(bytes.fromhex(packed), dtype=np.uint8)[None])
    parts = (labels.hours, labels.minutes, labels.seconds, labels.frames)
    assert ":".join(f"{int(part[0]):02}" for part in parts) == label
    assert decimal.all()


def test_ends_with_sync_word() -> None:
    """Bits 64 to 79 are 0011 1111 1111 1101."""
    assert word_of("23:59:59:29", "30")[64:] == SYNC


def test_digits_stand_at_their_bits() -> None:
    """Each digit of 23:59:59:29 stands at its published place, lowest bit first."""
    bits = word_of("23:59:59:29", "30")
    for first, width, digit in DIGITS:
        assert int(bits[first : first + width][::-1], 2) == digit


@pytest.mark.parametrize("group", range(8))
def test_user_groups_stand_at_their_bits(group: int) -> None:
    """The four bits of each user group stand at their published place, and nowhere else.

    The sync word has thirteen ones, so the polarity bit (27) is set beside them.
    """
    bits = word_of("00:00:00:00", "30", user_bits=0xF << 4 * group)
    ones = {place for place, bit in enumerate(bits[:64]) if bit == "1"}
    assert ones == {27, *(USER_BITS[group] + offset for offset in range(4))}


@pytest.mark.parametrize(
    ("name", "place"), [("24", 27), ("25", 59), ("29.97", 27), ("29.97df", 27), ("30", 27)]
)
def test_polarity_bit_makes_zeros_even(name: str, place: int) -> None:
    """Over a minute and its user bits the zeros of every word are even in number, by the rate's own bit alone."""
    rate = frame_rate(name)
    frames = np.arange(60 * rate.nominal)
    words = frames_to_words(frames, rate, user_bits=0x13579BDF)
    bits = unpack_words(words)
    assert (np.count_nonzero(~bits, axis=1) % 2 == 0).all()
    assert are_even(words).all()
    assert set(bits[:, place].tolist()) == {True, False}
    assert not bits[:, 86 - place].any()
    assert (get_user_bits(words) == 0x13579BDF).all()


@pytest.mark.parametrize(
    ("name", "hertz"), [("24", 960.0), ("25", 1000.0), ("29.97df", 1198.80), ("30", 1200.0)]
)
def test_zeros_and_ones_have_their_frequency(name: str, hertz: float) -> None:
    """Between zeros the level changes at the published rate; a stripe changes once more for each one it holds."""
    rate = frame_rate(name)
    sample_rate = 960_000
    stripe = encode_ltc(0, 25, rate, sample_rate, first_sample=100)
    edges = np.flatnonzero(np.diff(stripe > 0))
    assert np.isclose(np.median(np.diff(edges)), sample_rate / (2 * hertz), atol=1)
    ones = int(unpack_words(frames_to_words(np.arange(25), rate)).sum())
    assert edges.size == 25 * 80 + ones


def test_rises_in_forty_microseconds() -> None:
    """An edge takes 40 microseconds from 10 to 90 percent; tolerance 1 microsecond, the sample."""
    stripe = encode_ltc(0, 1, frame_rate("30"), 1_000_000, first_sample=200, level=1.0)
    rising = stripe[150:260]
    assert np.count_nonzero((rising > -0.8) & (rising < 0.8)) == pytest.approx(40, abs=1)


def test_words_begin_alike() -> None:
    """With the polarity bit right every word begins with a change in the same direction."""
    rate = frame_rate("25")
    stripe = encode_ltc(1234, 50, rate, 48_000, first_sample=10, user_bits=0x7)
    begins = 10 + 1920 * np.arange(50)
    assert (stripe[begins - 4] < 0).all()
    assert (stripe[begins + 4] > 0).all()
