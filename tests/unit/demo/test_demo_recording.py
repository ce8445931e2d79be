"""The story told in tables holds: what each pass has wrong, and that a retake has it right."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.demo import PASSES, REELS, DemoPass, DemoTruth, Flaw, demo_truth
from assembler.demo.recording import capture_pass

_EVERY_FLAW = [
    pytest.param(one, flaw, id=f"{one.name}-{flaw.kind}-{flaw.start}") for one in PASSES for flaw in one.flaws
]


@pytest.fixture(scope="module")
def truth() -> DemoTruth:
    """What the tapes hold, made once for this file."""
    return demo_truth()


def _longest_zero_run(track: np.ndarray[tuple[int], np.dtype[np.int32]]) -> int:
    return int(np.max(np.diff(np.flatnonzero(track), prepend=-1, append=track.size))) - 1


def test_the_tapes_are_sixteen_bit_and_of_one_length(truth: DemoTruth) -> None:
    """Every reel has the tracks of its table, all of one length, inside 16 bits without clipping."""
    for reel in REELS:
        tape = truth.reels[reel.name]
        assert tape.shape == (960_000, len(reel.tracks))
        assert np.max(np.abs(tape)) < 32_767


def test_the_tapes_are_the_same_every_time(truth: DemoTruth) -> None:
    """Two calls give the same numbers."""
    again = demo_truth()
    assert all(np.array_equal(tape, again.reels[name]) for name, tape in truth.reels.items())


def test_only_the_mixer_mutes_are_digital_silence(truth: DemoTruth) -> None:
    """Outside the mixer's mutes no track, not even the idle one, holds zeros for more than 2 ms."""
    for reel in REELS:
        muted = {mute.tracks[0]: mute.end - mute.start for mute in reel.desk_mutes}
        for place in range(len(reel.tracks)):
            run = _longest_zero_run(truth.reels[reel.name][:, place])
            assert run >= muted[place] if place in muted else run < 96


def test_a_mixer_mute_has_quiet_edges(truth: DemoTruth) -> None:
    """A recorded mute falls in a rest: 10 ms around it hold nothing but the converter's noise."""
    for reel in REELS:
        for mute in reel.desk_mutes:
            around = truth.reels[reel.name][mute.start - 480 : mute.end + 480, list(mute.tracks)]
            assert np.max(np.abs(around)) <= 1


@pytest.mark.parametrize(("demo_pass", "flaw"), _EVERY_FLAW)
def test_a_flaw_is_heard_in_its_pass_and_right_in_another(
    truth: DemoTruth, demo_pass: DemoPass, flaw: Flaw
) -> None:
    """What a pass has wrong differs from the tape, and another pass holds it with 0.1 s around."""
    tape = truth.reels[demo_pass.reel]
    captured = capture_pass(demo_pass, tape)
    place = slice(flaw.start - demo_pass.start, flaw.end - demo_pass.start)
    for track in flaw.tracks:
        wrong = captured[place, track] != tape[flaw.start : flaw.end, track]
        # On an idle track zeros may well be what the noise had.
        assert np.mean(wrong) > (0.9 if REELS[demo_pass.reel == "B"].tracks[track] else 0.1)
    around = slice(flaw.start - 4800, flaw.end + 4800)
    others = [one for one in PASSES if one.reel == demo_pass.reel and one is not demo_pass]
    holding = [one for one in others if one.start <= around.start and around.stop <= one.end]
    assert any(
        np.array_equal(
            capture_pass(one, tape)[around.start - one.start : around.stop - one.start, list(flaw.tracks)],
            tape[around, list(flaw.tracks)],
        )
        for one in holding
    )


def test_outside_its_flaws_a_pass_is_the_tape(truth: DemoTruth) -> None:
    """Every captured sample that no flaw of pass or tape names is the tape's own."""
    for one in PASSES:
        wrong = capture_pass(one, truth.reels[one.reel]) != truth.reels[one.reel][one.start : one.end]
        for flaw in (*one.flaws, *truth.damage[one.reel]):
            wrong[flaw.start - one.start : flaw.end - one.start, list(flaw.tracks)] = False
        assert not wrong.any()


def test_a_damaged_place_is_wrong_in_every_pass_and_cuts_sound_off(truth: DemoTruth) -> None:
    """At least one stretch is lost: every pass that covers it has the same fault, and it was loud there."""
    damage = [(name, flaw) for name, flaws in truth.damage.items() for flaw in flaws]
    assert damage
    for name, flaw in damage:
        tape = truth.reels[name][flaw.start : flaw.end, list(flaw.tracks)]
        assert np.sqrt(np.mean(tape.astype(float) ** 2)) > 1000
        passes = [one for one in PASSES if one.reel == name and one.start < flaw.start and flaw.end < one.end]
        assert len(passes) >= 2
        for one in passes:
            place = slice(flaw.start - one.start, flaw.end - one.start)
            assert not capture_pass(one, truth.reels[name])[place, list(flaw.tracks)].any()
