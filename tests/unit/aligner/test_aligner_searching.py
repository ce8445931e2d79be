"""Passes that run along and are nowhere identical are found where all their tracks are alike."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.place.along.alike import find_alike
from assembler.aligner.place.along.borders import locate_change
from assembler.aligner.records.limits import WINDOW_SAMPLES
from assembler.aligner.sound.chain.measures import find_delay
from scripts.bench.trial_sessions import ArrayAudio


def test_a_steady_tone_does_not_tell_the_place_alone() -> None:
    """It is as like itself a period off as in its place; the other tracks say where the pass lies."""
    rng = np.random.default_rng(8)
    tone = np.rint(3e6 * np.sin(2 * np.pi * np.arange(200_000) / 48.0))
    noises = np.rint(4e4 * rng.normal(size=(2, 200_000)))
    tape = np.stack([tone, *noises]).astype(np.int32)
    shorter = (tape[:, 1000:] >> 8) << 8
    found = find_alike(ArrayAudio(tape), ArrayAudio(shorter), (0, 190_000), 1500, 2400)
    assert found is not None
    assert found.relation.stretches[0].shift == 1000
    assert found.likeness > 0


def test_a_pass_that_is_inverted_is_told_by_its_sign() -> None:
    """It runs along as well, the other way up."""
    tape = np.rint(4e4 * np.random.default_rng(8).normal(size=(2, 100_000))).astype(np.int32)
    shorter = (-tape[:, 1000:] >> 8) << 8
    found = find_alike(ArrayAudio(tape), ArrayAudio(shorter), (0, 90_000), 1500, 2400)
    assert found is not None
    assert found.relation.stretches[0].shift == 1000
    assert found.likeness < 0


@pytest.mark.parametrize("off", [-2_000, -100, 100, 2_000])
@pytest.mark.parametrize("place", [7_000, 13_000, 19_000])
def test_a_loop_lies_where_its_log_has_it(place: int, off: int) -> None:
    """An eighth of a second again and again, at another level, with noise: as like itself at every bar."""
    random = np.random.default_rng(8)
    tape = np.tile(np.rint(1e6 * random.normal(size=(2, 6_000))), 40).astype(np.int32)
    noise = 1e4 * random.normal(size=tape[:, 13_000:].shape)
    softer = np.rint(tape[:, 13_000:] * 0.8 + noise).astype(np.int32)
    found = find_alike(ArrayAudio(tape), ArrayAudio(softer), (0, 200_000), place + off, 9_600)
    assert found is not None
    assert [stretch.shift for stretch in found.relation.stretches] == [place]


def test_soft_sound_behind_loud_is_found_exactly() -> None:
    """Powers are differences of sums: what rounding leaves of them may make a piece more than alike."""
    random = np.random.default_rng(3)
    sound = np.concatenate((1e6 * random.normal(size=9_000), np.rint(10 * random.normal(size=30_000))))
    window = np.clip(np.rint(sound), -(1 << 31), (1 << 31) - 1).astype(np.int32)
    place, alike = find_delay(window, window[12_000:28_384])
    assert place == 12_000
    assert 0.99 < alike <= 1


def test_a_short_overlap_with_shifts_far_apart_has_a_border() -> None:
    """Of 0.4 s both passes hold, 0.3 s are missing between two shifts."""
    tape = np.rint(1e6 * np.random.default_rng(3).normal(size=(2, 60_000))).astype(np.int32)
    found = locate_change(ArrayAudio(tape), ArrayAudio(tape), (0, 9_000), (9_600, -9_600), 0.0)
    assert found.end <= found.start


def test_a_slip_is_in_doubt_all_over_a_rest_with_noise_of_its_own() -> None:
    """Each pass has a converter's noise there: at no shift does one explain the other."""
    random = np.random.default_rng(3)
    tape = np.rint(1e6 * random.normal(size=(2, 160_000))).astype(np.int32)
    short = np.rint(0.7 * np.delete(tape, slice(80_000, 80_256), axis=1)).astype(np.int32)
    for samples, rest in ((tape, slice(40_000, 120_000)), (short, slice(40_000, 119_744))):
        samples[:, rest] = np.rint(40 * random.normal(size=samples[:, rest].shape))
    found = locate_change(ArrayAudio(tape), ArrayAudio(short), (20_000, 140_000), (0, 256), -3.1)
    assert found.doubt[0] <= 40_000 + WINDOW_SAMPLES
    assert found.doubt[1] >= 119_744 - WINDOW_SAMPLES
