"""The model's tape, held against what is published of such tapes.

Sources: IEC 61119-1:1992 (sweeps, interleave, codes); US patent 4,685,004 (odd and even samples on the tracks of
two heads); J. Watkinson, F. Rumsey, Digital Interface Handbook, 3rd ed., 3.12 (odd samples delayed, so that a gross
error hits one kind).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from assembler.demo.medium.causes import Cause, unhurt
from assembler.demo.medium.concealment import Machine, Made
from assembler.demo.medium.format import BLOCKS, CHECK, Format, unmended
from assembler.demo.medium.machine import Heard, play_tape

HEADS = Format(48000, 720, "heads", (False, True))
LENGTH = 14400
"""Twenty sweeps."""


def heard(layout: Format, play: np.ndarray[tuple[int, int], np.dtype[np.uint8]]) -> Heard:
    """Return what a machine makes of two tracks of rough sound."""
    random = np.random.default_rng(5)
    tape = random.integers(-9000, 9000, (2, LENGTH), dtype=np.int32)
    machine = Machine(
        "down", "hold_mean", 0.75, 2 * layout.sweep if layout.layout == "heads" else layout.sweep, 0
    )
    return play_tape(tape, 16, layout, machine, play, np.random.default_rng(1))


def test_sweeps_of_fifteen_milliseconds() -> None:
    """Two heads, 66 2/3 sweeps a second (IEC 61119-1): a second of sound lies in 66 or 67 of them."""
    sweep, block = HEADS.places(0, 48000)
    assert len(np.unique(sweep)) == pytest.approx(200 / 3, abs=1.5)
    assert block.max() < BLOCKS
    assert not set(np.unique(block).tolist()) & set(CHECK)


def test_one_clogged_head_conceals_every_other_sample_only() -> None:
    """US patent 4,685,004: the other head's samples are all there, and the missing ones are interpolated."""
    play = unhurt(HEADS.sweeps(LENGTH))
    play[0::2] = Cause.CLOGGED
    made = heard(HEADS, play).made
    assert set(np.flatnonzero(made[0] == Made.MEAN)) == set(range(0, LENGTH, 2))
    # This track's other samples lie with that head.
    assert set(np.flatnonzero(made[1] == Made.MEAN)) >= set(range(1, LENGTH - 1, 2))
    assert (made[0, 1::2] == Made.TAPE).all()
    assert (made[1, 0::2] == Made.TAPE).all()


def test_the_parity_a_head_takes_stays_for_the_tape() -> None:
    """A head that is clogged twice loses the same samples both times, wherever the tape begins to be counted."""
    layout = replace(HEADS, phase=700)
    play = unhurt(layout.sweeps(LENGTH))
    play[2:6:2], play[12:18:2] = Cause.CLOGGED, Cause.CLOGGED
    lost = np.flatnonzero(heard(layout, play).made[0])
    assert len(lost) == 5 * 720
    assert set(lost % 2) == {0}


def test_both_heads_clogged_mute() -> None:
    """Nothing can be read: all tracks are silent, and nothing beside."""
    play = unhurt(HEADS.sweeps(LENGTH))
    play[4:6] = Cause.SERVO
    made = heard(HEADS, play).made
    for track in made:
        assert np.flatnonzero(track == Made.MUTE).tolist() == list(range(1440 * 2, 1440 * 3))
        assert (np.delete(track, np.arange(2880, 4320)) == Made.TAPE).all()


def test_a_fifth_of_a_sweep_in_one_piece_is_mended() -> None:
    """Twenty-four blocks of 128, where thirty-two of which six check stand in four ways (IEC 61119-1, from memory)."""
    for start in range(BLOCKS - 24):
        bad = np.zeros((1, BLOCKS), np.bool_)
        bad[0, start : start + 24] = True
        assert not unmended(bad).any()
        bad[0, start + 24] = True
        # One way has one too many and is lost; the others are still mended.
        assert np.flatnonzero(unmended(bad)).tolist() == list(range(start, start + 25, 4))


def test_what_is_mended_leaves_no_trace() -> None:
    """A hole below the limit, in every sweep, changes no sample."""
    play = unhurt(HEADS.sweeps(LENGTH))
    play[:, 20:44] = Cause.SCRATCH
    assert not heard(HEADS, play).made.any()


def test_a_hole_in_one_sweep_hits_single_samples_and_not_the_same_of_each_track() -> None:
    """Neighbours in sound are strangers on the tape; all tracks lie in the same sweep."""
    play = unhurt(HEADS.sweeps(LENGTH))
    play[6, 0:40] = Cause.DROPOUT
    made = heard(HEADS, play).made
    lost = [np.flatnonzero(track) for track in made]
    for index in lost:
        assert len(index) > 100
        assert np.diff(index).min() >= 2
        assert 4320 <= index[0] <= index[-1] < 5760
    assert set(lost[0] // 2) != set(lost[1] // 2)


@pytest.mark.parametrize("half", [slice(0, 52), slice(76, 128)])
def test_halves_of_a_sweep_keep_odd_and_even_apart(half: slice) -> None:
    """Half a sweep lost costs one parity only (IEC 61119-1; Watkinson)."""
    layout = replace(HEADS, layout="halves")
    play = unhurt(layout.sweeps(LENGTH))
    play[6, half] = Cause.DROPOUT
    for track in heard(layout, play).made:
        lost = np.flatnonzero(track)
        assert len(lost) == 360
        assert len(set(lost % 2)) == 1


def test_delayed_odd_samples_survive_a_gross_error() -> None:
    """Digital Interface Handbook 3.12: all of a section lost, and still only one kind is lost at any place."""
    layout = replace(HEADS, layout="delayed", sweep=240, delay=3)
    play = unhurt(layout.sweeps(LENGTH))
    play[10:12] = Cause.DROPOUT
    for track in heard(layout, play).made:
        lost = np.flatnonzero(track)
        assert len(lost) == 480
        assert (track[lost] == Made.MEAN).all()


@pytest.mark.parametrize("layout", ["heads", "halves", "delayed"])
def test_all_tracks_share_sweeps_and_every_sample_has_its_place(layout: str) -> None:
    """No block holds much more than its share, whatever the interleave."""
    made = replace(HEADS, layout=layout, sweep=240 if layout == "delayed" else 720)  # type: ignore[arg-type]
    counts = []
    for track in (0, 1):
        sweep, block = made.places(track, LENGTH)
        counts.append(np.bincount(sweep[2880:-2880]))
        loads = np.bincount(block.astype(np.int64) + BLOCKS * sweep.astype(np.int64))
        assert loads.max() <= made.sweep / 52
    assert (counts[0][12:15] == counts[1][12:15]).all()
