"""The model's concealment, held against the published rules.

Sources: US patent 4,641,309 (1987), the three cases; European patent application 0 117 756, mean or hold.
"""

from __future__ import annotations

import numpy as np
import pytest

from assembler.demo.medium.concealment import Machine, Made, Rounding, Runs, conceal, mute, muted


def machine(rounding: Rounding = "down", runs: Runs = "hold_mean", *, ramp: int = 0) -> Machine:
    """Return a machine that mutes past three quarters of a unit of eight samples."""
    return Machine(rounding, runs, 0.75, 8, ramp)


def concealed(words: list[int | None], how: Machine) -> tuple[list[int], list[int]]:
    """Return what becomes of words of which some, None, are missing."""
    missing = np.array([word is None for word in words])
    given = np.array([99 if word is None else word for word in words], np.int32)
    out, made = conceal(given, missing, how)
    return out.tolist(), made.tolist()


def test_one_missing_word_becomes_the_mean() -> None:
    """Case one of the patent: a word between two good ones."""
    assert concealed([10, None, 20], machine()) == ([10, 15, 20], [0, Made.MEAN, 0])


def test_of_several_all_but_the_last_hold_and_the_last_is_the_mean() -> None:
    """Case two of the patent: the last good word is held; the last missing one is the mean of it and the next good."""
    out, made = concealed([10, None, None, None, 30], machine())
    assert out == [10, 10, 10, 20, 30]
    assert made == [0, Made.HOLD, Made.HOLD, Made.HOLD, 0]


def test_every_other_word_missing_is_means_of_good_words_only() -> None:
    """Neighbours of a missing word are good when one head is gone, so no mean rests on another mean."""
    assert concealed([0, None, 4, None, 10, None, 12], machine())[0] == [0, 2, 4, 7, 10, 11, 12]


@pytest.mark.parametrize(
    ("rounding", "expected"), [("down", [0, 1, -2]), ("up", [1, 2, -1]), ("zero", [0, 1, -1])]
)
def test_halves_are_rounded_one_way(rounding: Rounding, expected: list[int]) -> None:
    """Machines differ in it, one machine does not: halves of 1, 3 and −3 (common practice, no source)."""
    out = [concealed([0, None, total], machine(rounding))[0][1] for total in (1, 3, -3)]
    assert out == expected


@pytest.mark.parametrize(
    ("runs", "expected"), [("hold", [10, 10, 10, 10, 30]), ("line", [10, 15, 20, 25, 30])]
)
def test_machines_that_hold_to_the_end_or_draw_a_line(runs: Runs, expected: list[int]) -> None:
    """Other ways to bridge several words (common practice, no source)."""
    assert concealed([10, None, None, None, 30], machine(runs=runs))[0] == expected


def test_a_line_rounds_as_the_machine_does() -> None:
    """From 0 to −4 in three steps: −1 1/3 and −2 2/3."""
    words: list[int | None] = [0, None, None, -4]
    assert concealed(words, machine("down", "line"))[0] == [0, -2, -3, -4]
    assert concealed(words, machine("up", "line"))[0] == [0, -1, -2, -4]
    assert concealed(words, machine("zero", "line"))[0] == [0, -1, -2, -4]


def test_words_missing_at_the_ends() -> None:
    """Nothing to hold before the first good word is zero; behind the last one it goes on."""
    assert concealed([None, None, 8, None, None], machine())[0] == [0, 4, 8, 8, 8]


def test_past_a_share_the_output_is_muted() -> None:
    """Case three of the patent; the share is asked of all tracks together, so that they mute together."""
    missing = np.zeros((2, 24), np.bool_)
    missing[:, 8:15] = True
    quiet = muted(missing, 0, machine())
    assert np.flatnonzero(quiet).tolist() == list(range(8, 16))
    missing[1, 8:12] = False
    assert not muted(missing, 0, machine()).any()


def test_half_of_the_words_missing_is_concealed_and_not_muted() -> None:
    """What a clogged head leaves is still sound (US patent 4,685,004)."""
    missing = np.zeros((2, 24), np.bool_)
    missing[:, ::2] = True
    assert not muted(missing, 0, machine()).any()


def test_ramps_lie_outside_of_the_mute() -> None:
    """A machine that fades does so before and behind what it cannot read; level falls and rises by even steps."""
    words, made = np.full(24, 100, np.int32), np.zeros(24, np.uint8)
    quiet = np.zeros(24, np.bool_)
    quiet[8:16] = True
    mute(words, made, quiet, machine(ramp=3))
    assert words.tolist() == [100] * 5 + [75, 50, 25] + [0] * 8 + [25, 50, 75] + [100] * 5
    assert np.flatnonzero(made == Made.MUTE).tolist() == list(range(5, 19))
