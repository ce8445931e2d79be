"""Whether a retake belongs: sparse tracks beside flaws."""

from __future__ import annotations

import numpy as np

from assembler.aligner.belonging import examine_wiring
from scripts.bench.trial_sessions import ArrayAudio, make_tape


def test_bursts_do_not_make_a_sparse_track_a_stranger() -> None:
    """A square wave has some dozen changes at a place, a burst two thousand: the places are counted, not these."""
    rng = np.random.default_rng(81)
    tape = make_tape("square", 16, 300_000, rng)
    flawed = tape.copy()
    for at in range(0, 300_000, 75_000):
        flawed[:, at : at + 30_000] = rng.integers(-9000, 9000, (8, 30_000))
    wiring = examine_wiring(ArrayAudio(tape), ArrayAudio(flawed), (0, 300_000), 0, [600])
    assert wiring is not None
    assert wiring.is_straight
