"""Laws of linear timecode: words and stripes read back, and blocks equal the whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.timecode import FRAME_RATES
from assembler.timecode.labels import labels_exist, labels_to_frames
from assembler.timecode.ltc import decode_ltc, encode_ltc
from assembler.timecode.ltc.word import (
    are_even,
    frames_to_words,
    get_colour_flags,
    get_drop_flags,
    get_user_bits,
    words_to_labels,
)

if TYPE_CHECKING:
    from assembler.timecode import FrameRate

RATES = st.sampled_from(list(FRAME_RATES.values()))
USER_BITS = st.integers(0, 2**32 - 1)


@given(rate=RATES, frame=st.integers(0, 3_000_000), user_bits=USER_BITS, colour=st.booleans())
def test_words_give_back_their_frame(rate: FrameRate, frame: int, user_bits: int, *, colour: bool) -> None:
    """The word of any frame tells that frame, its user bits, its flags, and an even number of zeros."""
    words = frames_to_words(np.array([frame]), rate, user_bits=user_bits, colour=colour)
    labels, decimal = words_to_labels(words)
    assert decimal.all()
    assert labels_exist(labels, rate).all()
    assert labels_to_frames(labels, rate).tolist() == [frame % rate.frames_per_day]
    assert get_user_bits(words).tolist() == [user_bits]
    assert get_colour_flags(words).tolist() == [colour]
    assert get_drop_flags(words).tolist() == [rate.drop]
    assert are_even(words).all()


@settings(max_examples=60, deadline=None)
@given(
    rate=RATES,
    sample_rate=st.sampled_from([44_100, 48_000, 96_000]),
    frame=st.integers(0, 3_000_000),
    user_bits=USER_BITS,
    speed=st.floats(0.5, 2.0),
    first_sample=st.floats(300, 3000),
)
def test_stripes_give_back_their_words(
    rate: FrameRate, sample_rate: int, frame: int, user_bits: int, speed: float, first_sample: float
) -> None:
    """A stripe of any label, user bits, speed and place is read word for word, forwards and backwards.

    A quarter of a sample, but half of one for the first word, whose first edges come out of a level at rest.
    """
    made = encode_ltc(
        frame, 8, rate, sample_rate, user_bits=user_bits, speed=speed, first_sample=first_sample
    )
    begins = first_sample + np.arange(7) * sample_rate / float(rate.exact) / speed
    forwards = decode_ltc([made], sample_rate, rate)
    assert forwards.frames.tolist() == ((frame + np.arange(7)) % rate.frames_per_day).tolist()
    assert (forwards.user_bits == user_bits).all()
    np.testing.assert_allclose(forwards.start_samples[1:], begins[1:], atol=0.25)
    assert abs(forwards.start_samples[0] - begins[0]) < 0.5
    backwards = decode_ltc([-made[::-1]], sample_rate, rate)
    assert backwards.frames.tolist() == forwards.frames[::-1].tolist()
    np.testing.assert_allclose(backwards.start_samples[:-1], made.size - 1 - begins[:0:-1], atol=0.25)


SAMPLES = np.rint(
    1e6 * encode_ltc(1000, 600, FRAME_RATES["25"], 48_000, first_sample=777.7)
    + np.random.default_rng(2).normal(scale=5e4, size=round(777.7 + 600 * 1920))
).astype(np.int32)
WHOLE = decode_ltc([SAMPLES], 48_000, FRAME_RATES["25"])


@settings(max_examples=12, deadline=None)
@given(cuts=st.lists(st.integers(0, SAMPLES.size), max_size=30))
def test_blocks_equal_the_whole(cuts: list[int]) -> None:
    """However a stripe of several windows is cut into blocks, words and places are the same to the last bit."""
    log = decode_ltc(np.split(SAMPLES, sorted(cuts)), 48_000, FRAME_RATES["25"])
    assert log.frames.tolist() == list(range(1000, 1599))
    assert log.length_samples == SAMPLES.size
    np.testing.assert_array_equal(log.start_samples, WHOLE.start_samples)
    np.testing.assert_array_equal(log.words, WHOLE.words)
