"""Straight lines that a machine draws, in sound that runs nearly straight by nature."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.flaws.structures.lines import straight_lines

if TYPE_CHECKING:
    from assembler.arrays import Int32s

PLACE = (9_000, 9_400)


def _bass(noise: float = 0.0) -> Int32s:
    """A low tone that bends by less than a step from sample to sample for most of its swing."""
    sound = 120.0 * np.sin(np.arange(20_000) * 2 * np.pi / 1_100) + np.random.default_rng(61).normal(
        scale=noise, size=20_000
    )
    return np.rint(sound).astype(np.int32)


def _with_line(sound: Int32s, start: int, end: int) -> Int32s:
    """Return sound with a line drawn from the sample before ``start`` to the one at ``end``."""
    drawn = sound.copy()
    drawn[start:end] = np.rint(
        np.interp(np.arange(start, end), [start - 1, end], sound[[start - 1, end]].astype(np.float64))
    )
    return drawn


def test_slow_sound_is_no_line() -> None:
    """It bends by a step at most, and runs straight for a while each time it crosses zero."""
    assert straight_lines(_bass(), (), PLACE, 1) == []


def test_a_drawn_line_in_slow_sound_is_found_to_the_sample() -> None:
    """It is kept to for far longer than the tone keeps to any, with every sample where rounding puts it."""
    (line,) = straight_lines(_with_line(_bass(), 9_020, 9_380), (), PLACE, 1)
    assert line.is_exact
    assert abs(line.start - 9_020) <= 4
    assert abs(line.end - 9_380) <= 4


def test_a_line_that_climbs_by_one_step_in_noise_is_found() -> None:
    """It is two levels one after the other, each too short to be told from sound by itself."""
    noise = np.rint(np.random.default_rng(62).normal(40, 3, 20_000)).astype(np.int32)
    noise[[9_019, 9_062]] = 37, 36
    found = straight_lines(_with_line(noise, 9_020, 9_062), (), PLACE, 1)
    assert any(line.start <= 9_021 and line.end >= 9_060 for line in found)
    assert straight_lines(noise, (), PLACE, 1) == []


@pytest.mark.parametrize("rounded", [np.rint, np.floor, np.trunc])
def test_a_line_may_be_rounded_in_any_one_way(rounded: np.ufunc) -> None:
    """Machines round to the nearest step, downwards, or towards zero."""
    sound = _bass() - 300
    sound[9_020:9_380] = rounded(np.linspace(float(sound[9_019]), float(sound[9_380]), 362)[1:-1])
    (line,) = straight_lines(sound, (), PLACE, 1)
    assert line.is_exact


def test_many_short_lines_are_how_a_sound_goes() -> None:
    """A wave of falling pitch, as of a drum, runs straight for some samples wherever it crosses zero."""
    at = np.arange(2_000)
    drum = 9_000 * np.sin(2 * np.pi * (50 * at / 48_000 + 8 * (1 - np.exp(-at / 1_600))))
    sound = np.zeros(20_000, np.int32)
    sound[9_000:11_000] = np.rint(drum / 64)
    assert straight_lines(sound, (), (9_000, 11_000), 1) == []


def test_a_line_that_fills_the_place_needs_no_length() -> None:
    """A sound of saw teeth is made of lines, but none of them is just as long as captures differ."""
    at = np.arange(20_000)
    teeth = np.rint(30_000 * ((at * 0.0071) % 1 + (at * 0.0093) % 1 - 1)).astype(np.int32)
    drawn = _with_line(teeth, 9_020, 9_082)
    assert straight_lines(teeth, (), (9_020, 9_082), 1) == []
    (line,) = straight_lines(drawn, (), (9_020, 9_082), 1)
    assert (line.start, line.end, line.is_exact) == (9_020, 9_082, True)


def test_a_line_fills_no_place_where_the_other_version_runs_as_straight() -> None:
    """A slow wave may run within a step of the line that was drawn over it: then neither is told by that."""
    at = np.arange(20_000)
    wave = np.rint(30_000 * np.sin(at / 300.0)).astype(np.int32)
    start = int(np.argmin(np.abs(wave[9_000:10_000]))) + 9_000
    drawn = _with_line(wave, start, start + 24)
    differs = np.flatnonzero(drawn != wave)
    place = int(differs[0]), int(differs[-1]) + 1
    assert straight_lines(wave, (drawn,), place, 1) == []


def test_a_line_fills_a_part_of_a_place_as_well() -> None:
    """Captures may differ twice in one place: where a line runs from one border to the other it was drawn."""
    at = np.arange(20_000)
    teeth = np.rint(30_000 * ((at * 0.0071) % 1 + (at * 0.0093) % 1 - 1)).astype(np.int32)
    drawn = _with_line(teeth, 9_020, 9_082)
    other = teeth.copy()
    other[8_000:8_300] = teeth[7_600:7_900]
    (line,) = straight_lines(drawn, (other,), (8_000, 9_082), 1)
    assert (line.start, line.end, line.is_exact) == (9_020, 9_082, True)
