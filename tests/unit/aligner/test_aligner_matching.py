"""Finding a piece of audio in another by equal samples."""

from __future__ import annotations

import numpy as np

from assembler.aligner.place.matching import count_votes, find_match, identity_at, informative
from scripts.bench.trial_sessions import make_tape


def test_only_changes_tell_something() -> None:
    """A run of one value tells nothing but its first sample, and the first sample of all tells nothing."""
    assert informative(np.array([3, 3, 4, 4, 5], np.int32)).tolist() == [False, False, True, False, True]


def test_half_of_the_probe_may_be_flawed() -> None:
    """Noise over every second half thousand samples does not keep the place from being found."""
    rng = np.random.default_rng(1)
    tape = make_tape("dense", 16, 20_000, rng)
    probe = tape[:, 7000:9048].copy()
    probe[:, 500:1500] = rng.integers(-9000, 9000, (8, 1000))
    match = find_match(list(tape), list(probe), 6800)
    assert match is not None
    assert match.shift == 7000
    assert 0.45 < match.identical < 0.6


def test_of_places_that_repeat_exactly_the_expected_one_is_taken() -> None:
    """In a loop of 4000 samples the match nearest to the expected place is taken, the others are told."""
    bar = make_tape("dense", 16, 4000, np.random.default_rng(2))
    loop = np.tile(bar, 5)
    match = find_match(list(loop), list(loop[:, 8100:10_148]), 8300)
    assert match is not None
    assert match.shift == 8100
    assert set(match.rivals) == {100, 4100, 12_100, 16_100}


def test_a_square_wave_is_placed_to_the_sample() -> None:
    """A level that is held for 50 samples agrees at many shifts; its edges agree at one."""
    wave = np.repeat(np.random.default_rng(3).integers(-20_000, 20_000, 400), 50).astype(np.int32)
    probe = wave[5017 : 5017 + 6000]
    match = find_match([wave], [probe], 5017 + 20)
    assert match is not None
    assert match.shift == 5017
    assert match.rivals == ()
    assert identity_at([wave], [probe], 5018) == (0.0, 0)
    votes = count_votes([wave], [probe])
    assert votes[5017] == 96
    assert votes[5016] == votes[5018] == 0


def test_every_other_sample_may_be_lost() -> None:
    """A head that reads nothing takes every other sample of all tracks, so that no two neighbours are identical.

    Source: the even and the odd samples of a track lie apart on the tape, and the mean of its neighbours stands in for
    a lost one (US patent 4,641,309, 1987).
    """
    tape = make_tape("dense", 16, 20_000, np.random.default_rng(5))
    probe = tape[:, 7000:9048].copy()
    probe[:, 1:-1:2] = (probe[:, :-2:2] + probe[:, 2::2]) // 2
    match = find_match(list(tape), list(probe), 6800)
    assert match is not None
    assert match.shift == 7000
    assert 0.45 < match.identical < 0.55
    assert identity_at(list(tape), list(probe), 7001)[0] < 0.02


def test_nothing_is_found_in_silence_or_in_other_sound() -> None:
    """Digital silence proves no place, and neither does sound that is not there."""
    rng = np.random.default_rng(4)
    tape = make_tape("dense", 16, 12_000, rng)
    other = make_tape("dense", 16, 2048, rng)
    silence = np.zeros((8, 2048), np.int32)
    assert find_match(list(tape), list(other), 0) is None
    assert find_match(list(tape), list(silence), 0) is None
    assert find_match([np.zeros(12_000, np.int32)], [silence[0]], 0) is None
    assert find_match([tape[0, :100]], [tape[0, :200]], 0) is None
