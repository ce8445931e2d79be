"""Each flaw, put into a small tape by hand, and the converters' noise."""

from __future__ import annotations

import numpy as np

from assembler.demo.flaws import KINDS, Flaw, apply_flaws
from assembler.demo.tape import record_track


def _tape() -> np.ndarray[tuple[int, int], np.dtype[np.int32]]:
    ramp = np.arange(100, 130, dtype=np.int32)
    return np.stack([ramp, ramp**2 % 977], axis=1)


def _flawed(kind: str) -> list[int]:
    """Return samples 9 to 15 of track 0 with a flaw at 10 to 14."""
    flaw = Flaw(kind, 10, 14, (0,))
    return [int(value) for value in apply_flaws(_tape(), [flaw], np.random.default_rng(1))[9:15, 0]]


def test_a_mute_is_zeros() -> None:
    """A mute is zeros from its first sample to its last, and no further."""
    assert _flawed("mute") == [109, 0, 0, 0, 0, 114]


def test_a_hold_keeps_the_value_before_it() -> None:
    """A hold is the last good value, standing still."""
    assert _flawed("hold") == [109, 109, 109, 109, 109, 114]


def test_a_repeat_is_the_block_before() -> None:
    """A repeat gives once more as many samples as it is long."""
    assert _flawed("repeat") == [109, 106, 107, 108, 109, 114]


def test_a_straight_line_joins_the_good_samples() -> None:
    """A straight flaw runs evenly from the last good sample to the next."""
    tape = _tape()
    tape[9, 0], tape[14, 0] = 0, 50
    line = apply_flaws(tape, [Flaw("straight", 10, 14, (0,))], np.random.default_rng(1))
    assert line[9:15, 0].tolist() == [0, 10, 20, 30, 40, 50]


def test_a_click_is_far_from_what_was_there() -> None:
    """A click throws its samples by a known step to the side that has room."""
    assert _flawed("click") == [109, 110 - 24_000, 111 - 24_000, 112 - 24_000, 113 - 24_000, 114]


def test_a_burst_is_loud_and_comes_from_its_seed() -> None:
    """A burst is noise at some two thirds of full scale, the same for the same seed."""
    flaw = Flaw("burst", 10, 25, (1,))
    burst = apply_flaws(_tape(), [flaw], np.random.default_rng(4))
    assert np.max(np.abs(burst[10:25, 1])) > 10_000
    assert np.array_equal(burst, apply_flaws(_tape(), [flaw], np.random.default_rng(4)))


def test_flaws_leave_the_tape_and_other_tracks_alone() -> None:
    """Every kind of flaw works on a copy, and only on its own tracks and samples."""
    tape = _tape()
    for kind in KINDS:
        flawed = apply_flaws(tape, [Flaw(kind, 10, 14, (1,))], np.random.default_rng(1))
        assert np.array_equal(tape, _tape())
        assert np.array_equal(flawed[:, 0], tape[:, 0])
        assert np.flatnonzero(flawed[:, 1] != tape[:, 1]).tolist() == [10, 11, 12, 13]


def test_an_idle_input_is_never_digital_silence() -> None:
    """A converter without a signal gives triangular noise of one step to each side, with a variance of 1/4.

    Variance: 1/6 from the two uniform parts (Lipshitz, Wannamaker, Vanderkooy, J. Audio Eng. Soc. 40(5),
    1992) and 1/12 from the quantiser.
    """
    idle = record_track(np.zeros(200_000), np.random.default_rng(9))
    assert set(np.unique(idle).tolist()) == {-1, 0, 1}
    assert abs(float(np.var(idle)) - 0.25) < 0.005


def test_a_part_is_recorded_at_the_level_asked_for() -> None:
    """The loudest sample comes within two steps of its share of full scale."""
    part = np.sin(np.arange(5000) / 7)
    recorded = record_track(part, np.random.default_rng(9), peak=0.5)
    assert abs(int(np.max(np.abs(recorded))) - 16_384) <= 2
