"""Whether a retake belongs: sparse tracks beside flaws."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.belonging import PLACES, examine_wiring
from assembler.aligner.relating import ANCHOR_SAMPLES, anchor_positions
from scripts.bench.trial_sessions import ArrayAudio, make_tape

if TYPE_CHECKING:
    from assembler.arrays import Int32s

LENGTH = 960_000


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


def _sparse_pair() -> tuple[Int32s, Int32s]:
    """Return a tape whose first track sounds for a few short strokes only, and a capture that is the same."""
    rng = np.random.default_rng(82)
    tape = make_tape("dense", 16, LENGTH, rng)[:2]
    sounds = np.arange(LENGTH) % 12_000 < 4096
    tape[0] = np.where(sounds, rng.integers(-9000, 9000, LENGTH), 0)
    return tape, tape.copy()


def test_track_that_is_met_in_flaws_alone_is_no_stranger() -> None:
    """The few places that are looked at first may all hit the flaws of a track that sounds seldom."""
    tape, capture = _sparse_pair()
    positions = anchor_positions(0, LENGTH)
    for at in positions[:: len(positions) // PLACES]:
        capture[0, at : at + ANCHOR_SAMPLES] = np.random.default_rng(at).integers(-9000, 9000, ANCHOR_SAMPLES)
    wiring = examine_wiring(ArrayAudio(tape), ArrayAudio(capture), (0, LENGTH), 0, [600])
    assert wiring is not None
    assert wiring.is_straight


def test_track_with_other_sound_at_one_place_is_not_called_a_stranger() -> None:
    """One long flaw may hold all the sound of a track."""
    tape, capture = _sparse_pair()
    tape[0], capture[0] = 0, 0
    at = anchor_positions(0, LENGTH)[0]
    for index, one in enumerate((tape, capture)):
        one[0, at : at + 3000] = np.random.default_rng(index).integers(-9000, 9000, 3000)
    wiring = examine_wiring(ArrayAudio(tape), ArrayAudio(capture), (0, LENGTH), 0, [600])
    assert wiring is not None
    assert wiring.strange == ()


def test_track_with_other_sound_all_along_is_a_stranger() -> None:
    """It is another tape's, or something else was recorded over it."""
    tape, capture = _sparse_pair()
    other = np.random.default_rng(83).integers(-9000, 9000, LENGTH)
    capture[0] = np.where(tape[0] != 0, other, 0)
    wiring = examine_wiring(ArrayAudio(tape), ArrayAudio(capture), (0, LENGTH), 0, [600])
    assert wiring is not None
    assert wiring.strange == (0,)
