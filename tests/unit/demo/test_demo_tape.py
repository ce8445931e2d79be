"""The noise of mixer and converters, and the level of what is recorded."""

from __future__ import annotations

import numpy as np

from assembler.demo.music.tape import MIXER_NOISE, record_track


def test_an_idle_input_is_never_digital_silence() -> None:
    """An idle input gives the mixer's noise and that of the converter, which has a variance of 1/4.

    Variance: 1/6 from the two uniform parts (Lipshitz, Wannamaker, Vanderkooy, J. Audio Eng. Soc. 40(5),
    1992) and 1/12 from the quantiser.
    """
    idle = record_track(np.zeros(200_000), np.random.default_rng(9))
    assert abs(float(np.mean(idle))) < 0.05
    assert abs(float(np.var(idle)) - MIXER_NOISE**2 - 0.25) < 0.1


def test_a_part_is_recorded_at_the_level_asked_for() -> None:
    """The loudest sample comes within the noise of its share of full scale."""
    part = np.sin(np.arange(5000) / 7)
    recorded = record_track(part, np.random.default_rng(9), peak=0.5)
    assert abs(int(np.max(np.abs(recorded))) - 16_384) <= 6 * MIXER_NOISE
