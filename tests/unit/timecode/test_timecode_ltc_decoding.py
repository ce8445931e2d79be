"""Stripes read: any level, offset, polarity, speed, direction, rate and sample rate."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.errors import TimecodeError, TimecodeLogError
from assembler.timecode import FRAME_RATES, frame_rate, parse_label
from assembler.timecode.ltc import LtcLog, decode_ltc, encode_ltc
from assembler.timecode.ltc.decoding import WINDOW_SAMPLES
from assembler.timecode.ltc.encoding import modulate_words
from assembler.timecode.ltc.word import frames_to_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.arrays import Bytes, Float64s, Int32s

RATE = frame_rate("30")
SAMPLE_RATE = 48_000
FIRST_FRAME = 54_321
FIRST_SAMPLE = 3_000.4
COUNT = 60


def stripe(**changes: float) -> Float64s:
    """Return two seconds of a stripe at 30 frames a second and 48 kHz."""
    given = {"first_sample": FIRST_SAMPLE, **changes}
    return encode_ltc(FIRST_FRAME, COUNT, RATE, SAMPLE_RATE, **given)  # type: ignore[arg-type]  # by name


def assert_whole(log: LtcLog, tolerance: float, *, speed: float = 1.0) -> None:
    """Check that each word but the last, which no edge ends, was read where it lies."""
    words = np.arange(COUNT - 1)
    assert log.frames.tolist() == (FIRST_FRAME + words).tolist()
    np.testing.assert_allclose(log.start_samples, FIRST_SAMPLE + words * 1600 / speed, atol=tolerance)
    assert not log.reverse.any()
    assert log.refused == 0


@pytest.mark.parametrize("name", FRAME_RATES)
@pytest.mark.parametrize("sample_rate", [44_100, 48_000, 88_200, 96_000])
def test_places_words_between_samples(name: str, sample_rate: int) -> None:
    """At each rate words are placed within a tenth of a sample, wherever between samples they begin."""
    rate = frame_rate(name)
    for fraction in (0.0, 0.27, 0.5, 0.81):
        log = decode_ltc(
            [encode_ltc(1000, 25, rate, sample_rate, first_sample=900 + fraction)], sample_rate, rate
        )
        begins = 900 + fraction + np.arange(24) * sample_rate / float(rate.exact)
        assert log.frames.tolist() == list(range(1000, 1024))
        np.testing.assert_allclose(log.start_samples, begins, atol=0.1)
        quarters = begins[:, None] + np.array([1, 3, 5, 7]) / 8 * sample_rate / float(rate.exact)
        np.testing.assert_allclose(log.quarter_samples, quarters, atol=0.15)


@pytest.mark.parametrize("level", [-0.5, 1e-3, 100.0])
def test_reads_any_level_and_polarity(level: float) -> None:
    """A stripe of any level, turned over or not, gives the same places."""
    assert_whole(decode_ltc([stripe(level=level)], SAMPLE_RATE, RATE), 0.1)


def test_reads_stripe_of_three_steps() -> None:
    """A stripe so quiet that 16 bits give it two steps to each side is read."""
    samples = np.rint(2.4 * stripe(level=1.0)).astype(np.int32)
    assert_whole(decode_ltc([samples], SAMPLE_RATE, RATE), 0.1)


@pytest.mark.parametrize("noise_db", [-30, -20, -10])
def test_reads_through_noise(noise_db: float) -> None:
    """Noise 30, 20 and 10 dB under the stripe's peak, at 16 bits, loses no word; each within a third of a sample."""
    rng = np.random.default_rng(303)
    made = stripe() + rng.normal(scale=0.5 * 10 ** (noise_db / 20), size=stripe().size)
    assert_whole(decode_ltc([np.rint(made * 2**15).astype(np.int32)], SAMPLE_RATE, RATE), 0.33)


def test_reads_most_words_where_noise_nears_the_stripe() -> None:
    """With noise 3 dB under the peak, which crosses zero at will, four words in five are read, none wrong."""
    made = stripe() + np.random.default_rng(30).normal(scale=0.354, size=stripe().size)
    log = decode_ltc([made], SAMPLE_RATE, RATE)
    assert log.frames.size >= 0.8 * COUNT
    true = FIRST_SAMPLE + 1600 * (log.frames - FIRST_FRAME)
    np.testing.assert_allclose(log.start_samples, true, atol=1.0)


def test_long_runs_of_zeros_are_no_sync_word() -> None:
    """Words whose user bits make a run of zeros and ones that is like the sync word at another scale are read once."""
    rate = frame_rate("29.97df")
    made = encode_ltc(107_000, 100, rate, SAMPLE_RATE, first_sample=1000.3, user_bits=0x12345678)
    log = decode_ltc([made], SAMPLE_RATE, rate)
    assert log.frames.tolist() == list(range(107_000, 107_099))
    assert log.refused == 0


@pytest.mark.parametrize("shift", [-0.6, -0.5, -0.1, 0.0, 0.1, 0.5, 0.6])
def test_word_on_border_of_windows_is_read_once(shift: float) -> None:
    """A word that begins within a sample of where one window ends and the next starts is taken once."""
    first = WINDOW_SAMPLES - 20 * 1600 + shift
    made = encode_ltc(0, 40, RATE, SAMPLE_RATE, first_sample=first)
    log = decode_ltc([made], SAMPLE_RATE, RATE)
    assert log.frames.tolist() == list(range(39))
    assert log.refused == 0


def test_takes_off_offset_and_hum() -> None:
    """An offset of six times the peak and hum as loud as the stripe move no word by more than a quarter sample."""
    made = stripe()
    hum = 0.5 * np.sin(2 * np.pi * 50 * np.arange(made.size) / SAMPLE_RATE)
    assert_whole(decode_ltc([made + 3.0], SAMPLE_RATE, RATE), 0.1)
    assert_whole(decode_ltc([made + hum], SAMPLE_RATE, RATE), 0.25)


def test_uneven_edges_shift_all_words_alike() -> None:
    """Where rising edges come late against falling ones, any words are displaced alike (left alone: 0.8 samples)."""
    words = frames_to_words(np.arange(COUNT), RATE)
    words[::2, :7] ^= 0x10
    late = np.roll(modulate_words(words, RATE, SAMPLE_RATE, first_sample=3000), 3)
    made = np.minimum(modulate_words(words, RATE, SAMPLE_RATE, first_sample=3000), late)
    log = decode_ltc([made], SAMPLE_RATE, RATE)
    lags = log.start_samples - 3000 - 1600 * np.arange(log.frames.size)
    assert log.frames.size == COUNT - 1
    assert np.ptp(lags) < 0.15


@pytest.mark.parametrize("speed", [0.5, 0.8, 1.25, 2.0])
@pytest.mark.parametrize("sample_rate", [44_100, 96_000])
def test_reads_half_to_twice_the_speed_both_ways(speed: float, sample_rate: int) -> None:
    """From half to twice the speed, forwards and backwards, through noise, each word is read and placed."""
    made = encode_ltc(FIRST_FRAME, COUNT, RATE, sample_rate, speed=speed, first_sample=2000)
    made += np.random.default_rng(5).normal(scale=0.015, size=made.size)
    begins = 2000 + np.arange(COUNT - 1) * sample_rate / 30 / speed
    forwards = decode_ltc([made], sample_rate, RATE)
    assert forwards.frames.tolist() == list(range(FIRST_FRAME, FIRST_FRAME + COUNT - 1))
    np.testing.assert_allclose(forwards.start_samples, begins, atol=0.15)
    np.testing.assert_allclose(forwards.speeds, speed, rtol=1e-3)
    backwards = decode_ltc([made[::-1]], sample_rate, RATE)
    assert backwards.reverse.all()
    assert backwards.frames.tolist() == forwards.frames[::-1].tolist()
    np.testing.assert_allclose(backwards.start_samples, made.size - 1 - begins[::-1], atol=0.15)


def test_follows_changing_speed() -> None:
    """While the speed swings from half to twice and back in a second, no word away from the ends is lost."""
    made = encode_ltc(FIRST_FRAME, 120, RATE, SAMPLE_RATE, first_sample=FIRST_SAMPLE)
    seconds = np.arange(3 * SAMPLE_RATE) / SAMPLE_RATE
    place = np.cumsum(2.0 ** np.sin(2 * np.pi * seconds))
    log = decode_ltc([np.interp(place, np.arange(made.size), made)], SAMPLE_RATE, RATE)
    assert log.refused == 0
    assert (np.diff(log.frames) == 1).all()
    assert log.frames.size >= 0.97 * place[-1] / 1600 - 3
    np.testing.assert_allclose(
        np.interp(log.start_samples, np.arange(place.size), place),
        FIRST_SAMPLE + 1600 * (log.frames - FIRST_FRAME),
        atol=40,
    )


def test_reports_flags_and_user_bits() -> None:
    """Drop-frame and colour flags and user bits of each word are given, and told where they are odd or begin."""
    rate = frame_rate("29.97df")
    made = encode_ltc(0, 20, rate, SAMPLE_RATE, user_bits=0x1995_0902, colour=True, first_sample=4800)
    log = decode_ltc([made], SAMPLE_RATE, rate)
    assert log.drop_flags.all()
    assert log.colour_flags.all()
    assert (log.user_bits == 0x1995_0902).all()
    assert [(finding.kind, finding.seconds is None) for finding in log.findings] == [
        ("colour_flag", True),
        ("user_bits", False),
    ]
    assert "19950902" in log.findings[1].text
    assert log.findings[1].seconds == pytest.approx(0.1, abs=1e-5)


def test_user_bits_that_run_are_told_once() -> None:
    """User bits that change in every word, as a second time would, are told in one sentence."""
    parts = [frames_to_words(np.array([word]), RATE, user_bits=word) for word in range(1, COUNT)]
    log = decode_ltc(
        [modulate_words(np.concatenate(parts), RATE, SAMPLE_RATE, first_sample=100)], SAMPLE_RATE, RATE
    )
    assert log.user_bits.tolist() == list(range(1, COUNT - 1))
    assert [finding.text for finding in log.findings] == [
        "user bits change 58 times, from 00000001 to 0000003A"
    ]


def test_tells_drop_flag_against_sheet() -> None:
    """A stripe with the drop-frame flag, read as 30 without drop, is read by the sheet, and told."""
    made = encode_ltc(30, 20, frame_rate("29.97df"), SAMPLE_RATE, first_sample=500)
    log = decode_ltc([made], SAMPLE_RATE, RATE)
    assert log.frames.tolist() == list(range(30, 49))
    (finding,) = log.findings
    assert finding.kind == "count_open"
    assert "the drop-frame flag is set, the sheet's frame_rate is 30: the sheet is followed" in finding.text


def tell_minute(sheet: str, counted: str, flagged: str) -> list[tuple[str, str]]:
    """Return kind and text of what is told of a stripe over 01:01:00 that counts one way and is flagged another."""
    rate = frame_rate(counted)
    first = parse_label("01:00:59:20", rate)
    words = frames_to_words(np.arange(first, first + 40), rate)
    words[:, 1] = words[:, 1] & 0xFB | (4 if frame_rate(flagged).drop else 0)
    log = decode_ltc(
        [modulate_words(words, rate, SAMPLE_RATE, first_sample=50)], SAMPLE_RATE, frame_rate(sheet)
    )
    return [
        (finding.kind, finding.text) for finding in log.findings if finding.kind in ("count", "rate_code")
    ]


@pytest.mark.parametrize("flagged", ["29.97", "29.97df"])
@pytest.mark.parametrize(("sheet", "counted"), [("29.97", "29.97df"), ("29.97df", "29.97")])
def test_labels_over_a_minute_prove_the_count(sheet: str, counted: str, flagged: str) -> None:
    """Over a minute the words show that the sheet is wrong, whatever the drop-frame flag says."""
    ((kind, text),) = tell_minute(sheet, counted, flagged)
    assert kind == "count"
    assert f"at the start of 1 minute: the sheet's frame_rate {sheet} should be {counted}" in text
    assert ("the drop-frame flag is" in text) == (sheet != flagged)


@pytest.mark.parametrize(("sheet", "flagged"), [("29.97", "29.97df"), ("29.97df", "29.97")])
def test_labels_over_a_minute_outweigh_the_flag(sheet: str, flagged: str) -> None:
    """Where the words count as the sheet says, a contradicting flag is told and asks nobody."""
    ((kind, text),) = tell_minute(sheet, sheet, flagged)
    assert kind == "rate_code"
    assert f"frame_rate is {sheet}: the sheet is followed; its labels bear it out" in text


def test_a_few_flags_are_misread() -> None:
    """A drop-frame flag in a few words alone is told as what it is."""
    words = frames_to_words(np.arange(30, 50), RATE)
    flip(words, 7, 10)
    log = decode_ltc([modulate_words(words, RATE, SAMPLE_RATE, first_sample=500)], SAMPLE_RATE, RATE)
    told = [finding.text for finding in log.findings if finding.kind == "drop_flag"]
    assert told == ["the drop-frame flag is set in 1 of 19 words; the others are followed"]


def test_a_label_that_stands_still_is_refused_as_such() -> None:
    """A generator that sends one frame over and over places nothing, and does not run backwards."""
    words = np.repeat(frames_to_words(np.array([5000]), RATE), 20, axis=0)
    with pytest.raises(TimecodeLogError, match="19 words of linear timecode, each contradicted by the next"):
        decode_ltc([modulate_words(words, RATE, SAMPLE_RATE, first_sample=500)], SAMPLE_RATE, RATE)


def test_hours_over_23_are_no_question_of_the_rate() -> None:
    """A label of hour 33 is refused with what is allowed, and with another source as advice."""
    words = frames_to_words(np.arange(13 * 108000, 13 * 108000 + 20), RATE)
    # Tens of hours: bits 56 and 57.
    words[:, 7] |= 3
    with pytest.raises(
        TimecodeLogError, match=r"first 33:00:00:0[01] \(hours 33; allowed: 0 to 23\); give the pass"
    ):
        decode_ltc([modulate_words(words, RATE, SAMPLE_RATE, first_sample=500)], SAMPLE_RATE, RATE)


def flip(words: Bytes, word: int, bit: int) -> None:
    """Turn one bit of one word over."""
    words[word, bit // 8] ^= np.uint8(1 << bit % 8)


def test_wrong_polarity_bit_is_told_and_used() -> None:
    """Words whose polarity-correction bit is wrong are read as they are; where it is first wrong is told."""
    words = frames_to_words(np.arange(FIRST_FRAME, FIRST_FRAME + COUNT), RATE)
    flip(words, 30, 27)
    flip(words, 31, 27)
    log = decode_ltc([modulate_words(words, RATE, SAMPLE_RATE, first_sample=FIRST_SAMPLE)], SAMPLE_RATE, RATE)
    assert_whole(log, 0.1)
    assert [finding.kind for finding in log.findings] == ["polarity_bit"]
    assert "2 of 59" in log.findings[0].text
    assert log.findings[0].seconds == pytest.approx((FIRST_SAMPLE + 30 * 1600) / SAMPLE_RATE, abs=1e-5)


@pytest.mark.parametrize("bit", [0, 8, 16, 32, 48])
def test_misread_word_is_not_believed(bit: int) -> None:
    """A word with one wrong bit in its label, which its neighbours contradict, is left out and counted."""
    words = frames_to_words(np.arange(FIRST_FRAME, FIRST_FRAME + COUNT), RATE)
    flip(words, 20, bit)
    log = decode_ltc([modulate_words(words, RATE, SAMPLE_RATE, first_sample=100)], SAMPLE_RATE, RATE)
    assert log.frames.tolist() == [FIRST_FRAME + word for word in range(COUNT - 1) if word != 20]
    assert log.refused == 1
    assert [finding.kind for finding in log.findings] == ["unread"]


@pytest.mark.parametrize("words", [1, 10])
def test_words_cross_midnight(words: int) -> None:
    """A stripe that runs past 23:59:59:29 is read on at 00:00:00:00: the words around midnight agree."""
    day = RATE.frames_per_day
    made = encode_ltc(day - words, 2 * words + 1, RATE, SAMPLE_RATE, first_sample=100)
    log = decode_ltc([made], SAMPLE_RATE, RATE)
    assert log.frames.tolist() == [*range(day - words, day), *range(words)]
    assert log.refused == 0


def test_memory_does_not_grow_with_stripe() -> None:
    """Of blocks that come one by one only some windows are held, while 20 of them pass."""
    held: list[int] = []
    alive = 0

    class Block(np.ndarray):
        def __del__(self) -> None:
            nonlocal alive
            alive -= 1

    made = np.rint(1000 * stripe()).astype(np.int32)

    def blocks() -> Iterator[Int32s]:
        nonlocal alive
        for _ in range(60):
            alive += 1
            held.append(alive)
            yield made.copy().view(Block)

    log = decode_ltc(blocks(), SAMPLE_RATE, RATE)
    assert log.length_samples == 60 * made.size
    assert log.frames.size > 60 * (COUNT - 3)
    assert max(held) < 10


@pytest.mark.parametrize("kind", ["silence", "offset", "noise", "tone", "square", "nothing"])
def test_no_timecode_is_refused_in_words(kind: str) -> None:
    """Silence, an offset, noise, a tone, a square wave like a stripe of zeros, or no samples: no timecode."""
    seconds = np.arange(10 * SAMPLE_RATE) / SAMPLE_RATE
    tone = np.sin(2 * np.pi * 1200 * seconds)
    signals = {
        "silence": np.zeros(seconds.size),
        "offset": np.full(seconds.size, 7.0),
        "noise": np.random.default_rng(6).normal(size=seconds.size),
        "tone": tone,
        "square": np.sign(tone),
        "nothing": np.zeros(0),
    }
    with pytest.raises(TimecodeLogError, match="no linear timecode in it") as caught:
        decode_ltc([signals[kind]], SAMPLE_RATE, RATE)
    assert ("silence" in str(caught.value)) == (kind in {"silence", "offset", "nothing"})
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("made_as", "read_as"), [("25", "30"), ("30", "25"), ("24", "25"), ("30", "24")])
def test_other_count_is_refused_with_both(made_as: str, read_as: str) -> None:
    """A stripe whose seconds have other than the sheet's frames is refused, with both counts in the words."""
    rate = frame_rate(made_as)
    made = encode_ltc(rate.nominal * 7, rate.nominal * 4, rate, SAMPLE_RATE, first_sample=50)
    with pytest.raises(TimecodeLogError, match=f"counts {made_as} frames a second.*frame_rate {read_as}"):
        decode_ltc([made], SAMPLE_RATE, frame_rate(read_as))


def test_labels_that_no_rate_has_are_refused() -> None:
    """Words none of whose labels exist (frames over the rate) are refused with their number."""
    made = encode_ltc(parse_label("00:00:00:26", RATE), 4, RATE, SAMPLE_RATE, first_sample=50)
    with pytest.raises(TimecodeLogError, match="3 words of linear timecode, none with a label"):
        decode_ltc([made], SAMPLE_RATE, frame_rate("25"))


def test_hours_over_23_are_refused() -> None:
    """Words that tell 29 hours are refused like labels of another rate."""
    words = frames_to_words(np.arange(20 * 108_000, 20 * 108_000 + 10), RATE)
    for word in range(10):
        flip(words, word, 48 + 3)
    with pytest.raises(TimecodeLogError, match="none with a label"):
        decode_ltc([modulate_words(words, RATE, SAMPLE_RATE, first_sample=90)], SAMPLE_RATE, RATE)


def test_arguments_that_cannot_be() -> None:
    """Blocks of several channels, and sample rates that cannot carry the code, are refused with what is allowed."""
    with pytest.raises(TimecodeError, match="one channel"):
        decode_ltc([np.zeros((10, 2))], SAMPLE_RATE, RATE)
    with pytest.raises(TimecodeError, match="19200 or more"):
        decode_ltc([np.zeros(10)], 16_000, RATE)
    for wrong in ({"first_sample": -1.0}, {"speed": 0.0}, {"speed": -1.0}, {"user_bits": 1 << 32}):
        with pytest.raises(TimecodeError):
            stripe(**wrong)
    with pytest.raises(TimecodeError):
        encode_ltc(0, 0, RATE, SAMPLE_RATE)
