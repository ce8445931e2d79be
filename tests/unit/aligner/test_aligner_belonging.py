"""Whether a retake belongs: sparse tracks beside flaws."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.anchors import anchor_positions
from assembler.aligner.place.limits import ANCHOR_SAMPLES, PLACES
from assembler.aligner.place.wiring.examine import examine_wiring
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
    wiring = examine_wiring(ArrayAudio(tape), ArrayAudio(flawed), (0, 300_000), lambda _: 0, [600])
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
    wiring = examine_wiring(ArrayAudio(tape), ArrayAudio(capture), (0, LENGTH), lambda _: 0, [600])
    assert wiring is not None
    assert wiring.is_straight


def test_track_with_other_sound_at_one_place_is_not_called_a_stranger() -> None:
    """One long flaw may hold all the sound of a track."""
    tape, capture = _sparse_pair()
    tape[0], capture[0] = 0, 0
    at = anchor_positions(0, LENGTH)[0]
    for index, one in enumerate((tape, capture)):
        one[0, at : at + 3000] = np.random.default_rng(index).integers(-9000, 9000, 3000)
    wiring = examine_wiring(ArrayAudio(tape), ArrayAudio(capture), (0, LENGTH), lambda _: 0, [600])
    assert wiring is not None
    assert wiring.strange == ()


def test_track_with_other_sound_all_along_is_a_stranger() -> None:
    """It is another tape's, or something else was recorded over it."""
    tape, capture = _sparse_pair()
    other = np.random.default_rng(83).integers(-9000, 9000, LENGTH)
    capture[0] = np.where(tape[0] != 0, other, 0)
    wiring = examine_wiring(ArrayAudio(tape), ArrayAudio(capture), (0, LENGTH), lambda _: 0, [600])
    assert wiring is not None
    assert wiring.strange == (0,)


def test_a_slip_that_the_log_shows_is_heeded() -> None:
    """Behind a long slip every place lies as much further off; looked for near the first one, nothing would fit."""
    tape = make_tape("dense", 16, LENGTH // 2, np.random.default_rng(84))
    at, lost = 40_000, 5_000
    capture = np.concatenate((tape[:, :at], tape[:, at + lost :]), axis=1)
    capture[:, :at] = np.random.default_rng(85).integers(-9000, 9000, (8, at))
    wiring = examine_wiring(
        ArrayAudio(tape),
        ArrayAudio(capture),
        (0, capture.shape[1]),
        lambda sample: lost if sample >= at else 0,
        [600],
    )
    assert wiring is not None
    assert wiring.is_straight
    assert {shift for _, shift in wiring.places} == {lost}


def test_one_place_found_by_chance_does_not_end_the_search() -> None:
    """A faint tail fits nearly anywhere; where nothing else is found near by, it is looked for further off."""
    rng = np.random.default_rng(86)
    tape = np.zeros((2, LENGTH // 2), np.int32)
    tape[:, 60_000:] = make_tape("dense", 16, LENGTH // 2 - 60_000, rng)[:2]
    tail = np.tile(np.repeat(np.array([0, 1, 0, -1], np.int32), 5), 3_000)[:50_000]
    tape[:, :50_000] = tail
    shift = 4_000
    wiring = examine_wiring(
        ArrayAudio(tape), ArrayAudio(tape[:, shift:]), (0, tape.shape[1] - shift), lambda _: 0, [600, 6_000]
    )
    assert wiring is not None
    assert len(wiring.places) > 2
    assert sum(found == shift for _, found in wiring.places) > len(wiring.places) / 2
