"""Levels, lines and copies found in one version of a place, to the sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.flaws.structures.builds import FORETOLD_COPY, Structure
from assembler.aligner.flaws.structures.structures import cuts_of, level_borders, rough_borders, structures_of
from assembler.aligner.sound.levels import fit_predictor, prediction_errors
from scripts.bench.trial_sessions import make_tape

if TYPE_CHECKING:
    from assembler.arrays import Int32s

SOUND = make_tape("dense", 16, 30_000, np.random.default_rng(51))[0]
PLACE = 20_000, 22_000


def _found(
    samples: Int32s, others: tuple[Int32s, ...] = (SOUND,), *, stepped: bool = False
) -> list[Structure]:
    return structures_of(
        samples, SOUND, others, PLACE, 1, (False, False), holds_levels=stepped, seeks_copies=not stepped
    )


def test_levels_are_found_to_the_sample() -> None:
    """Zeros are a mute from the first on; a level is held from behind the last good sample, which it was made from."""
    samples = SOUND.copy()
    samples[20_100:20_300] = 0
    samples[21_000:21_400] = samples[20_999]
    assert _found(samples) == [
        Structure("mute", 20_100, 20_300),
        Structure("hold", 21_000, 21_400, (20_999,)),
    ]


def test_a_line_is_found_with_its_ends() -> None:
    """A straight line is found between the two samples that it joins."""
    samples = SOUND.copy()
    samples[20_500:20_560] = np.rint(
        np.interp(np.arange(20_500, 20_560), [20_499, 20_560], [samples[20_499], samples[20_560]])
    )
    (line,) = _found(samples)
    assert line.kind == "straight"
    assert (abs(line.start - 20_500), abs(line.end - 20_560)) <= (1, 1)


def test_a_line_may_end_where_it_began() -> None:
    """Rounded to whole steps a line in quiet noise may come back to its first level; noise never runs so straight."""
    quiet = np.rint(np.random.default_rng(52).normal(scale=1.6, size=SOUND.size)).astype(np.int32)
    samples = quiet.copy()
    samples[20_497:20_559] = [5, 0, 0, 0, *[-1] * 27, *[0] * 30, 5]
    found = structures_of(
        samples, quiet, (quiet,), PLACE, 1, (False, False), holds_levels=False, seeks_copies=True
    )
    assert any(one.start <= 20_501 and one.end >= 20_557 for one in found)


@pytest.mark.parametrize("original_is_spoilt", [False, True])
def test_a_block_played_twice_is_found(*, original_is_spoilt: bool) -> None:
    """A copy of the 900 samples before is found whole, also where its original is lost in this version."""
    samples = SOUND.copy()
    samples[20_300:21_200] = samples[19_400:20_300]
    if original_is_spoilt:
        samples[20_000:20_300] = 0
    found = [one for one in _found(samples) if one.kind == "repeat"]
    assert found == [Structure("repeat", 20_300, 21_200)]


def test_sound_that_goes_on_repeating_is_no_copy() -> None:
    """What stands again outside the place as well, where the captures agree, repeats by nature."""
    loop = np.tile(make_tape("dense", 16, 3000, np.random.default_rng(52))[0], 10)
    assert (
        structures_of(loop, loop, (), PLACE, 1, (False, False), holds_levels=False, seeks_copies=True) == []
    )


def test_levels_in_a_row_are_a_square_wave() -> None:
    """Levels that follow each other without a sample between are the sound's own."""
    samples = SOUND.copy()
    samples[20_100:20_500] = np.repeat([900, -900, 900, -900], 100)
    assert [one for one in _found(samples) if one.kind == "hold"] == []


def test_sound_that_holds_levels_does_not_prove_a_level() -> None:
    """Where levels are held by nature, one that is no longer than the sound's own is left out."""
    square = np.tile(np.repeat(np.array([900, -900], np.int32), 100), 150)
    found = structures_of(square, square, (), PLACE, 1, (False, False), holds_levels=True, seeks_copies=False)
    assert [one for one in found if one.kind == "hold"] == []


def test_a_level_far_longer_than_those_beside_it_is_none_of_the_wave() -> None:
    """A square wave whose last level is held follows its other levels in a row, yet outlasts them all."""
    square = np.where(np.arange(30_000) // 36 % 2, 2943, -2944).astype(np.int32)
    square[:500] = square[29_500:] = 0
    samples = square.copy()
    samples[20_500:21_500] = samples[20_499]
    found = structures_of(
        samples, square, (square,), PLACE, 1, (False, False), holds_levels=True, seeks_copies=False
    )
    (level,) = found
    assert level.kind == "hold"
    assert 20_500 - 36 < level.start <= 20_500
    assert 21_500 <= level.end < 21_500 + 36


def test_a_level_that_the_sound_never_holds_is_told_though_it_is_short() -> None:
    """Clipped peaks stay on two levels for long; what stays on a third one for less is none of them."""
    swing = np.rint(20_000 * np.sin(2 * np.pi * np.arange(30_000) / 400)).astype(np.int32)
    sound = np.clip(swing, -12_000, 12_000)
    samples = sound.copy()
    samples[20_420:20_460] = samples[20_419]
    assert abs(samples[20_419]) < 12_000
    found = structures_of(
        samples, sound, (sound,), PLACE, 1, (False, False), holds_levels=True, seeks_copies=False
    )
    assert [(one.kind, one.start, one.end) for one in found] == [("hold", 20_420, 20_460)]


def test_noise_gives_its_borders() -> None:
    """Noise thrown in is found from its first sample to its last, to a few samples."""
    samples = SOUND.copy()
    samples[20_400:21_300] = np.random.default_rng(53).integers(-20_000, 20_000, 900)
    predictor = fit_predictor(SOUND[18_000:19_000].astype(np.float64))
    usual = 8 * float(np.std(prediction_errors(SOUND[18_000:20_000].astype(np.float64), predictor)))
    borders = rough_borders(samples, PLACE, predictor, usual)
    assert min(abs(border - 20_400) for border in borders) <= 4
    assert min(abs(border - 21_300) for border in borders) <= 4


def test_a_place_is_cut_at_every_border() -> None:
    """Parts lie between the borders of structures and of noise, and fill the place."""
    parts = cuts_of([[Structure("mute", 50, 120)], [Structure("repeat", 90, 400)]], [200], (100, 300))
    assert parts == [(100, 120), (120, 200), (200, 300)]


def _notes() -> Int32s:
    """Return notes of a square wave with rests between them."""
    wave = np.where((np.arange(30_000) * 0.0091) % 1.0 < 0.5, 7_000, -7_000)
    return np.where((np.arange(30_000) % 5_300) < 4_100, wave, 0).astype(np.int32)


def test_a_block_of_a_square_wave_played_twice_in_a_row_is_found() -> None:
    """Pieces of it stand twice all over; but not for just as many samples as lie between them."""
    right = _notes()
    start, size = 20_000, 1_777
    copied = right.copy()
    copied[start : start + size] = right[start - size : start]
    differs = np.flatnonzero(copied != right)
    place = int(differs[0]), int(differs[-1]) + 1

    def found(samples: Int32s, other: Int32s) -> list[Structure]:
        built = structures_of(
            samples, right, (other,), place, 1, (False, False), holds_levels=True, seeks_copies=False
        )
        return [one for one in built if one.kind == "repeat"]

    (one,) = found(copied, right)
    assert one.is_adjoined
    assert one.start <= place[0]
    assert place[1] <= one.end
    assert found(right, copied) == []


def test_soft_noise_gives_its_borders_and_a_stroke_none() -> None:
    """Noise no louder than the sound stops from one sample to the next; a stroke dies away."""
    rng = np.random.default_rng(53)
    hum = 4_000 * np.sin(np.arange(SOUND.size) * 0.02) + rng.normal(scale=30, size=SOUND.size)
    predictor = fit_predictor(np.rint(hum[:20_000]))
    noisy, struck = hum.copy(), hum.copy()
    noisy[20_600:21_100] = rng.normal(scale=300, size=500)
    struck[20_600:] += rng.normal(scale=300, size=SOUND.size - 20_600) * np.exp(
        -np.arange(SOUND.size - 20_600) / 150
    )
    found = level_borders(np.rint(noisy).astype(np.int32), PLACE, predictor)
    assert min(abs(at - 20_600) for at in found) < 30
    assert min(abs(at - 21_100) for at in found) < 40
    assert all(
        abs(at - 20_600) < 30 for at in level_borders(np.rint(struck).astype(np.int32), PLACE, predictor)
    )


def test_a_level_held_from_one_clipped_peak_to_the_next_is_told() -> None:
    """It joins two peaks to three stretches of one level in a row, as a two-level wave has them."""
    loud = 50_000 * np.sin(2 * np.pi * np.arange(SOUND.size) / 100)
    right = np.clip(np.rint(loud), -32_768, 32_767).astype(np.int32)
    held = right.copy()
    held[20_640:20_714] = held[20_639]
    differs = np.flatnonzero(held != right)
    found = structures_of(
        held,
        right,
        (right,),
        (int(differs[0]), int(differs[-1]) + 1),
        1,
        (False, False),
        holds_levels=True,
        seeks_copies=False,
    )
    assert [one.kind for one in found if one.kind == "hold"]


def test_of_two_copies_of_quiet_sound_both_are_found() -> None:
    """Samples of so few steps often equal their neighbours, and a copy may be entered at each that does not."""
    rng = np.random.default_rng(54)
    fading = np.rint(2.0 * rng.normal(size=SOUND.size)).astype(np.int32)
    fading[19_900:] = 0
    copied = fading.copy()
    copied[20_000:21_000] = fading[18_900:19_900]
    copied[21_300:21_700] = copied[20_600:21_000]
    found = structures_of(
        copied, fading, (fading,), (20_000, 21_700), 1, (False, False), holds_levels=False, seeks_copies=True
    )
    copies = [(one.start, one.end) for one in found if one.kind in ("repeat", FORETOLD_COPY)]
    assert any(abs(start - 20_000) <= 2 and end >= 20_998 for start, end in copies)
    assert any(abs(start - 21_300) <= 2 and end >= 21_698 for start, end in copies)
