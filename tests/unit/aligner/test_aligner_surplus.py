"""Whose slip a change of shift is, by the sound alone: samples that stand twice, or that the other pass lost."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.place.slips.surplus import who_slipped
from scripts.bench.trial_sessions import ArrayAudio, make_tape

AT = 60_000
DENSE = make_tape("dense", 16, 120_000, np.random.default_rng(61))
HISS = np.random.default_rng(62).integers(-40, 41, (8, 120_000), dtype=np.int32)


def _with(tape: object, inserted: object) -> ArrayAudio:
    """Return a tape with some more samples before ``AT``."""
    samples = np.asarray(tape)
    return ArrayAudio(np.concatenate((samples[:, :AT], np.asarray(inserted), samples[:, AT:]), axis=1))


def _lost(tape: object, count: int) -> ArrayAudio:
    samples = np.asarray(tape)
    return ArrayAudio(np.concatenate((samples[:, :AT], samples[:, AT + count :]), axis=1))


@pytest.mark.parametrize("count", [1, 3, 54, 2400, 20_000])
@pytest.mark.parametrize("tape", [DENSE, HISS])
def test_lost_and_repeated_are_told_apart(tape: object, count: int) -> None:
    """In either pass, in music and in noise, which nothing foretells."""
    samples = np.asarray(tape)
    whole, lost = ArrayAudio(samples), _lost(tape, count)
    twice = _with(tape, samples[:, AT - count : AT])
    assert who_slipped(whole, lost, (AT, AT), (0, count))[0] == "probe"
    assert who_slipped(lost, whole, (AT, AT), (0, -count))[0] == "reference"
    # Either copy may be taken for the surplus.
    for at in (AT - count, AT):
        assert who_slipped(whole, twice, (at, at), (0, -count))[0] == "probe"
        assert who_slipped(twice, whole, (at, at), (0, count))[0] == "reference"


def test_a_flaw_in_one_copy_hides_it_on_its_track_alone() -> None:
    """The other tracks tell."""
    twice = DENSE[:, AT - 500 : AT].copy()
    twice[2, 100:400] = 0
    assert who_slipped(ArrayAudio(DENSE), _with(DENSE, twice), (AT, AT), (0, -500))[0] == "probe"


def test_a_long_copy_with_a_flaw_tells_where_the_other_pass_is_flawed_too() -> None:
    """Behind the copy that pass is mute: the place is in doubt. Halves of the copy close to it are no others."""
    twice = DENSE[:, AT - 1024 : AT].copy()
    twice[:, 300:400] = 0
    flawed = DENSE.copy()
    flawed[:, AT - 5 : AT + 5000] = 0
    ends, shifts = (AT - 400, AT), (0, 1024)
    assert who_slipped(_with(DENSE, twice), ArrayAudio(flawed), ends, shifts) == ("reference", None)


@pytest.mark.parametrize("level", [0, 900])
def test_what_a_machine_put_in_is_nobodys_loss(level: int) -> None:
    """Silence or a level held, instead of a copy, does not mean that the other pass lost as much."""
    put_in = np.full((DENSE.shape[0], 64), level)
    assert who_slipped(ArrayAudio(DENSE), _with(DENSE, put_in), (AT, AT), (0, -64))[0] is None


def test_sound_that_repeats_at_just_that_distance_tells_nothing() -> None:
    """A bar of a loop lost, or played twice, looks the same."""
    bar = np.random.default_rng(63).integers(-9000, 9000, (8, 1000), dtype=np.int32)
    loop = np.tile(bar, 120)
    assert who_slipped(ArrayAudio(loop), _lost(loop, 1000), (AT, AT), (0, 1000))[0] is None
    # Nor is a bar that differs from all others the copy of one.
    loop[:, AT : AT + 1000] = bar[:, ::-1]
    assert who_slipped(ArrayAudio(loop), _lost(loop, 1000), (AT, AT), (0, 1000))[0] is None


def test_passes_that_do_not_match_up_to_the_border_tell_nothing() -> None:
    """A flaw beside the slip may hide a copy."""
    flawed = DENSE.copy()
    flawed[:, AT - 40 : AT] += 7
    assert who_slipped(ArrayAudio(flawed), _lost(DENSE, 300), (AT, AT), (0, 300))[0] is None


def test_a_sample_held_on_all_tracks_among_others_is_no_copy() -> None:
    """The reference lost one far before, where the probe was mute, which holds a quarter of what comes then."""
    random = np.random.default_rng(64)
    lost, held = np.delete(DENSE, AT, axis=1), DENSE.copy()
    held[:, AT - 3000 : AT + 3000] = 0
    for own in held:
        for at in (AT + 3000 + np.flatnonzero(random.random(2000) < 0.25)).tolist():
            own[at] = own[at - 1]
    held[:, AT + 4000] = held[:, AT + 3999]
    told = who_slipped(ArrayAudio(lost), ArrayAudio(held), (AT - 3000, AT + 5000), (0, -1))
    assert told == (None, None)


def _losing(tape: object, first: int, seed: int) -> ArrayAudio:
    """Return a tape of which many samples of one parity were lost around ``AT``, each its neighbours' mean."""
    samples = np.asarray(tape).copy()
    at = np.arange(AT - 4000 + first, AT + 4000, 2)
    at = at[np.random.default_rng(seed).random(at.size) < 0.8]
    samples[:, at] = (samples[:, at - 1].astype(np.int64) + samples[:, at + 1]) >> 1
    return ArrayAudio(samples)


@pytest.mark.parametrize("count", [54, 128, 2400])
def test_passes_that_lost_every_other_sample_tell_all_the_same(count: int) -> None:
    """Heads that wear leave hardly a run of samples that both passes have right."""
    spliced = np.concatenate((DENSE[:, :AT], DENSE[:, AT + count :]), axis=1)
    assert who_slipped(_losing(DENSE, 0, 1), _losing(spliced, 1, 2), (AT, AT), (0, count))[0] == "probe"


def _copies(tape: object, repeated: int) -> tuple[str | None, int | None]:
    """Return who holds samples twice within 4 000 samples around ``AT``, where the other pass is muted."""
    samples = np.asarray(tape)
    muted = samples.copy()
    muted[:, AT - 8000 : AT + 8000] = 0
    return who_slipped(ArrayAudio(samples), ArrayAudio(muted), (AT - 4000, AT + 4000), (0, repeated))


@pytest.mark.parametrize("repeated", [2, 4, 93, 800])
@pytest.mark.parametrize("character", ["dense", "tones", "quiet"])
def test_what_was_captured_twice_is_found_to_the_sample(character: str, repeated: int) -> None:
    """On all tracks at once samples stand beside their copy, in quiet noise as well, and where a track is flawed."""
    tape = make_tape(character, 24, 120_000, np.random.default_rng(16))
    twice = np.concatenate((tape[:, :AT], tape[:, AT - repeated :]), axis=1)
    twice[2, AT - 20 : AT + 30] = np.random.default_rng(8).integers(-(1 << 18), 1 << 18, 50)
    slipped, at = _copies(twice, repeated)
    assert slipped == "reference"
    assert at is not None
    assert AT - repeated - 1 <= at <= AT - repeated + 1


@pytest.mark.parametrize("character", ["sparse", "dense", "tones", "quiet", "square", "loop", "band"])
def test_good_sound_stands_nowhere_twice(character: str) -> None:
    """Silence, levels, quiet noise and music that repeats are no copies."""
    for seed in range(6):
        tape = make_tape(character, 24, 120_000, np.random.default_rng(seed))
        assert [n for n in (1, 2, 4, 93, 500, 1155) if _copies(tape, n) != (None, None)] == []


def test_of_two_copies_neither_is_the_one() -> None:
    """Where two places stand out nothing is said."""
    tape = make_tape("quiet", 24, 120_000, np.random.default_rng(17))
    twice = np.concatenate((tape[:, :AT], tape[:, AT - 50 : AT + 900], tape[:, AT + 850 :]), axis=1)
    assert _copies(twice, 50) == (None, None)
