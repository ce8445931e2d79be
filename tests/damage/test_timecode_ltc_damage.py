"""Stripes that are hurt: dropouts, cuts, bursts, lost samples, weak spots. What is left is read, and placed right."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.errors import TimecodeLogError
from assembler.timecode import frame_rate
from assembler.timecode.ltc import LtcLog, decode_ltc, encode_ltc

RATE = frame_rate("30")
SAMPLE_RATE = 48_000
FRAME = 1600
COUNT = 120
FIRST_FRAME = 77_777
FIRST_SAMPLE = 2_400
STRIPE = encode_ltc(FIRST_FRAME, COUNT, RATE, SAMPLE_RATE, first_sample=FIRST_SAMPLE, user_bits=0xFFFF_FFFF)


def read(samples: np.typing.ArrayLike) -> LtcLog:
    """Return what a stripe says, at 16 bits."""
    return decode_ltc([np.rint(2**15 * np.asarray(samples)).astype(np.int32)], SAMPLE_RATE, RATE)


def assert_true(log: LtcLog, tolerance: float = 0.2) -> None:
    """Check that no word was read that is not there, and each lies where it is."""
    np.testing.assert_allclose(
        log.start_samples, FIRST_SAMPLE + FRAME * (log.frames - FIRST_FRAME), atol=tolerance
    )
    assert not log.reverse.any()


@pytest.mark.parametrize("filling", ["zeros", "noise", "held"])
@pytest.mark.parametrize("length_ms", [0.3, 2, 10, 60])
def test_dropouts_cost_only_the_words_they_touch(filling: str, length_ms: float) -> None:
    """Dropouts four a second, of silence, noise or a held level, cost the words they touch and no other."""
    hurt = STRIPE.copy()
    rng = np.random.default_rng(17)
    touched: set[int] = set()
    length = int(length_ms * SAMPLE_RATE / 1000)
    for start in range(10_000, hurt.size - 10_000, 12_345):
        part = slice(start, start + length)
        hurt[part] = {
            "zeros": np.zeros(length),
            "noise": rng.normal(scale=0.02, size=length),
            "held": np.full(length, hurt[start]),
        }[filling]
        first = (start - FIRST_SAMPLE) // FRAME
        touched |= set(range(first, (start + length - FIRST_SAMPLE) // FRAME + 1))
    log = read(hurt)
    # The neighbours of a long loss may lose the edge that bounds them.
    near = {word + side for word in touched for side in (-1, 0, 1)}
    missing = set(range(COUNT - 1)) - set((log.frames - FIRST_FRAME).tolist())
    assert missing <= (near if length_ms >= 10 else touched)
    assert len(missing) >= 10 or length_ms < 2
    assert_true(log)


def test_stripe_cut_anywhere_is_read_or_refused() -> None:
    """A stripe cut after any sample of its first words gives the whole words before the cut, or is refused."""
    for length in range(0, FIRST_SAMPLE + 3 * FRAME, 37):
        whole = (length - FIRST_SAMPLE - 4) // FRAME
        if whole < 1:
            with pytest.raises(TimecodeLogError, match="no linear timecode in it"):
                read(STRIPE[:length])
        else:
            log = read(STRIPE[:length])
            assert log.frames.tolist() == list(range(FIRST_FRAME, FIRST_FRAME + log.frames.size))
            assert log.frames.size in (whole, whole + ((length - FIRST_SAMPLE) // FRAME - whole))
            assert_true(log)


def test_stripe_that_starts_anywhere_loses_one_word() -> None:
    """A stripe that starts in the middle of a word loses that word alone."""
    for cut in range(10 * FRAME, 11 * FRAME, 53):
        log = read(STRIPE[FIRST_SAMPLE + cut :])
        assert log.frames.tolist() == list(range(FIRST_FRAME + 11, FIRST_FRAME + COUNT - 1))
        np.testing.assert_allclose(log.start_samples, FRAME * (log.frames - FIRST_FRAME) - cut, atol=0.2)


@pytest.mark.parametrize("lost", [1, 8, 100, 5000])
def test_lost_samples_move_what_follows(lost: int) -> None:
    """Where samples are lost, words before and after lie where they are, and at most two words are missing."""
    place = FIRST_SAMPLE + 50 * FRAME + 333
    log = read(np.delete(STRIPE, np.s_[place : place + lost]))
    before = log.frames < FIRST_FRAME + 50
    after = log.frames > FIRST_FRAME + 50 + -(-(lost + 333) // FRAME)
    true = FIRST_SAMPLE + FRAME * (log.frames - FIRST_FRAME)
    np.testing.assert_allclose(log.start_samples[before], true[before], atol=0.2)
    np.testing.assert_allclose(log.start_samples[after], true[after] - lost, atol=0.2)
    assert np.count_nonzero(before) == 50
    assert log.frames.size >= COUNT - 1 - 2 - -(-lost // FRAME)


def test_quarters_show_where_samples_were_lost() -> None:
    """Four lost samples move the quarter they are in, and those before it by none: the word is still read."""
    place = FIRST_SAMPLE + 50 * FRAME + 3 * FRAME // 4 + 50
    log = read(np.delete(STRIPE, np.s_[place : place + 4]))
    quarters = FIRST_SAMPLE + 50 * FRAME + FRAME * (np.arange(4) + 0.5) / 4
    word = int(np.flatnonzero(log.frames == FIRST_FRAME + 50)[0])
    lags = log.quarter_samples[word] - quarters
    np.testing.assert_allclose(lags[:3], 0, atol=0.2)
    assert -4 < lags[3] < -2


def test_level_may_fall_and_rise() -> None:
    """A stripe that falls by 40 dB and rises again loses the words at the change of level, and no other."""
    hurt = STRIPE.copy()
    hurt[60_000:120_000] *= 0.01
    log = read(hurt)
    assert log.frames.size >= COUNT - 1 - 4
    assert_true(log, 0.3)


def test_clicks_and_music_beside_it() -> None:
    """Clicks ten times as loud cost the words around them; a tone at a quarter of the level costs none."""
    hurt = STRIPE + 0.12 * np.sin(2 * np.pi * 440 * np.arange(STRIPE.size) / SAMPLE_RATE)
    log = read(hurt)
    assert log.frames.size == COUNT - 1
    assert_true(log, 1.0)
    hurt[40_000::40_000] += 5.0
    log = read(hurt)
    assert log.frames.size >= COUNT - 1 - 3 * 4
    assert_true(log, 1.0)


def test_noise_between_two_stretches_makes_no_words() -> None:
    """Noise as loud as the stripe, between two stretches of it, adds no word."""
    noise = np.random.default_rng(4).normal(scale=0.5, size=20 * SAMPLE_RATE)
    log = read(np.concatenate((STRIPE, noise, STRIPE)))
    assert log.frames.size == pytest.approx(2 * (COUNT - 1), abs=2)
    assert ((log.start_samples < STRIPE.size) | (log.start_samples >= STRIPE.size + noise.size)).all()
