"""A stuck bit of linear PCM words: two's complement, the format of IEC 60908 and of WAVE (RIFF MCI 1.0, chapter 3)."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from assembler.aligner.comparison import compare_reel
from assembler.aligner.events.stuck import stuck_beside, stuck_bits
from assembler.aligner.records.because import Rule
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import map_with_slips
from assembler.arrays import Int32s
from scripts.bench.trial_sessions import ArrayAudio

LOW, HIGH = 20_000, 23_000


def _bowed(size: int = 48_000) -> Int32s:
    at = np.arange(size)
    sound = sum(np.sin(2 * np.pi * 220 * n * at / 48_000 + n) / n for n in range(1, 9))
    return np.round(3_000 * np.asarray(sound)).astype(np.int32) << 8


@pytest.mark.parametrize("bit", [10, 13, 17])
@pytest.mark.parametrize("way", ["set", "clear"])
def test_a_stuck_bit_is_found_where_it_is(bit: int, way: str) -> None:
    """Beside the stretch the bit may stand the same way for as long as the sound takes to move it."""
    samples = _bowed()
    part = samples[LOW:HIGH]
    samples[LOW:HIGH] = part | 1 << bit if way == "set" else part & ~(1 << bit)
    ((place, nats),) = stuck_bits(samples)
    assert LOW - 400 < place[0] <= LOW
    assert HIGH <= place[1] < HIGH + 400
    assert nats > 60


def test_sound_of_a_coarser_step_has_none() -> None:
    """A tape of 16 bits, and words whose lower half is filled up by one bit, as some converters do."""
    assert stuck_bits(_bowed()) == []
    assert stuck_bits(_bowed() | 128) == []


def test_waves_of_few_levels_have_none() -> None:
    """Bits that two levels share say nothing."""
    levels = np.array([-27_681, 27_681, 0, 5_000], np.int32)
    assert stuck_bits(np.repeat(levels[np.arange(4_000) % 4], 40)) == []


@pytest.mark.parametrize("hiss", [1, 4])
def test_two_pulse_waves_at_once_with_hiss_have_none(hiss: int) -> None:
    """Four levels, again and again."""
    random = np.random.default_rng(5)
    for _ in range(40):
        high, low, step = random.integers(-(1 << 14), 1 << 14, 3)
        at = np.arange(96_000)
        first = np.where(at % int(random.integers(40, 400)) < 35, high, low)
        wave = first + np.where(at % int(random.integers(40, 400)) < 35, step, 0)
        noisy = wave + np.round(hiss * random.normal(size=wave.size)).astype(np.int64)
        assert stuck_bits(noisy.astype(np.int32) << 8) == []


@pytest.mark.parametrize("hiss", [1, 4])
def test_a_wave_of_two_levels_with_hiss_has_none(hiss: int) -> None:
    """Its levels share bits above the hiss, and it comes back to them again and again."""
    random = np.random.default_rng(3)
    for _ in range(40):
        high, low = random.integers(-(1 << 15), 1 << 15, 2)
        wave = np.where(np.arange(96_000) % int(random.integers(40, 400)) < 35, high, low)
        noisy = wave + np.round(hiss * random.normal(size=wave.size)).astype(np.int64)
        assert stuck_bits(noisy.astype(np.int32) << 8) == []


def test_a_steady_climb_has_none() -> None:
    """A saw of 64 steps a sample, but for a little: the bits below stay as they are all the way up."""
    saw = np.rint(np.arange(24_000) % 600 * 64.02 - 19_000).astype(np.int32)
    assert stuck_bits(saw << 8) == []


@pytest.mark.parametrize("bit", [21, 13])
@pytest.mark.parametrize("way", ["set", "clear"])
def test_another_pass_tells_of_a_bit_below_the_sign_alone(bit: int, way: str) -> None:
    """Above it there is only the sign, which says little by itself; the pass that has the bit moving is right."""
    right = 8 * _bowed()
    stuck = right.copy()
    part = right[LOW:HIGH]
    stuck[LOW:HIGH] = part | 1 << bit if way == "set" else part & ~(1 << bit)
    assert np.count_nonzero(stuck != right) > 500
    ((place, nats),) = stuck_beside(stuck, [right])
    assert LOW - 400 < place[0] <= LOW
    assert HIGH <= place[1] < HIGH + 400
    assert nats > 60
    assert stuck_beside(right, [stuck]) == []
    assert stuck_beside(right, [right]) == []
    noisy = right ^ np.random.default_rng(3).integers(0, 2, right.size, dtype=np.int32) << 12
    assert stuck_beside(stuck, [right, noisy]) == []


def test_another_pass_tells_of_it_that_lost_samples_there() -> None:
    """A third of them are the means of their neighbours: much of what differs still does by that bit alone."""
    right = 8 * _bowed()
    stuck, lost = right.copy(), right.copy()
    stuck[LOW:HIGH] |= 1 << 21
    at = np.arange(LOW + 1, HIGH, 3)
    lost[at] = (right[at - 1] + right[at + 1]) // 2
    assert np.count_nonzero(lost != right) > 500
    ((place, _),) = stuck_beside(stuck, [lost])
    assert LOW - 400 < place[0] <= LOW
    assert HIGH <= place[1] < HIGH + 400
    assert stuck_beside(lost, [stuck]) == []


def test_what_differs_by_more_than_a_bit_is_none() -> None:
    """Noise in one of them, and a level held, whose bits all stay as they are."""
    right = 8 * _bowed()
    noisy, held = right.copy(), right.copy()
    noisy[LOW:HIGH] ^= np.random.default_rng(3).integers(0, 4, HIGH - LOW, dtype=np.int32) << 13
    held[LOW:HIGH] = held[LOW]
    for other in (noisy, held):
        assert stuck_beside(right, [other]) == []
        assert stuck_beside(other, [right]) == []
    coarse = right >> 18 << 18 | right & 4095
    assert stuck_beside(coarse, [np.random.default_rng(4).permutation(right)]) == []


def test_a_bit_that_toggles_in_the_other_pass_is_none() -> None:
    """A pulse wave keeps some of its bits by nature; what breaks it is the rougher one, or has two against it."""
    at, random = np.arange(48_000), np.random.default_rng(11)
    pulse = np.where(at // 110 % 2, 5000, -1700) + np.rint(random.normal(0, 1, at.size)).astype(np.int64)
    right = pulse.astype(np.int32)
    wrong = right.copy()
    wrong[LOW:HIGH] ^= random.integers(0, 2, HIGH - LOW, dtype=np.int32) << 5
    assert stuck_beside(right, [wrong]) == []
    assert stuck_beside(right, [right.copy(), wrong]) == []


def test_a_pass_with_a_stuck_bit_is_cured_from_the_other_one() -> None:
    """On one track of two; the bit below the sign of words of 24 bits."""
    tape = np.stack([_bowed() * 8, _bowed() * 8])
    stuck = tape.copy()
    stuck[1, LOW:HIGH] |= 1 << 21
    placed = [
        PlacedPass(name, ArrayAudio(own), (map_with_slips(own.shape[1], 0, ()),) * 2)
        for name, own in (("A1", stuck), ("A2", tape))
    ]
    with ThreadPoolExecutor(1) as executor:
        found = compare_reel(placed, [0, 1], 1 << 11, (1 << 23) - 1, executor, lambda _: None)
    assert {(flaw.pass_name, flaw.track, flaw.because.rule) for flaw in found.flaws} == {
        ("A1", 1, Rule.STUCK_BIT)
    }
    assert found.undecided == ()
