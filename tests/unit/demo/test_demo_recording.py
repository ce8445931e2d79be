"""The story told in tables holds: what each pass has wrong, and that a retake has it right."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.demo import PASSES, REELS, DemoPass, DemoTruth, Fault, demo_truth
from assembler.demo.faults import SWEEP
from assembler.demo.medium.causes import Cause
from assembler.demo.medium.concealment import Made
from assembler.demo.recording import capture_pass, captured_samples

if TYPE_CHECKING:
    from assembler.demo.medium.recorder import Capture

_EVERY_FAULT = [
    pytest.param(one, fault, id=f"{one.name}-{fault.kind}-{fault.start}")
    for one in PASSES
    for fault in one.faults
]
_CAUSES = {
    "clog": Cause.CLOGGED,
    "dropout": Cause.DROPOUT,
    "scratch": Cause.SCRATCH,
    "unlock": Cause.SERVO,
    "repeat": Cause.BUFFER_REPEATED,
    "word": Cause.WRONG_WORD,
}


@pytest.fixture(scope="module")
def truth() -> DemoTruth:
    """What the tapes hold, made once for this file."""
    return demo_truth()


@pytest.fixture(scope="module")
def captures(truth: DemoTruth) -> dict[str, Capture]:
    """What the passes captured, made once for this file."""
    return {one.name: capture_pass(one, truth.reels[one.reel]) for one in PASSES}


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
        muted = {mute.track: mute.end - mute.start for mute in reel.desk_mutes}
        for place in range(len(reel.tracks)):
            run = _longest_zero_run(truth.reels[reel.name][:, place])
            assert run >= muted[place] if place in muted else run < 96


def test_a_mixer_mute_has_quiet_edges(truth: DemoTruth) -> None:
    """A recorded mute falls in a rest: 10 ms around it hold nothing but noise."""
    for reel in REELS:
        for mute in reel.desk_mutes:
            around = truth.reels[reel.name][mute.start - 480 : mute.end + 480, mute.track]
            assert np.max(np.abs(around)) <= 12


@pytest.mark.parametrize(("demo_pass", "fault"), _EVERY_FAULT)
def test_a_fault_is_heard_in_its_pass_and_right_in_another(
    truth: DemoTruth, captures: dict[str, Capture], demo_pass: DemoPass, fault: Fault
) -> None:
    """What goes wrong in a pass does so where the story says, and another pass is right with 0.1 s around."""
    one = captures[demo_pass.name]
    if fault.kind == "slip":
        assert one.place[one.slips[0] - 1] == fault.start - 1
        assert one.place[one.slips[0]] == fault.start + fault.samples
    else:
        wrong = one.place[np.any(one.causes == _CAUSES[fault.kind], axis=0)]
        # A frame of the tape is two sweeps; out of lock three sweeps on either side are half read.
        near = 5 * SWEEP
        assert fault.start - near <= wrong[0] <= wrong[-1] < fault.start + fault.samples + near
        assert wrong[-1] - wrong[0] + 1 >= fault.samples / 2 - 1
    around = slice(fault.start - 4800, fault.start + fault.samples + 4800)
    others = [other for other in PASSES if other.reel == demo_pass.reel and other is not demo_pass]
    holding = [other for other in others if other.start <= around.start and around.stop <= other.end]
    assert any(
        np.array_equal(
            captured_samples(captures[other.name])[around.start - other.start : around.stop - other.start],
            truth.reels[demo_pass.reel][around],
        )
        for other in holding
    )


def test_the_demo_has_every_kind_of_concealment(captures: dict[str, Capture]) -> None:
    """US patent 4,641,309: means, held words and mutes; and a clogged head leaves every other sample (4,685,004)."""
    one = captures["A1"]
    assert {Made.MEAN, Made.HOLD, Made.MUTE} <= set(np.unique(one.made).tolist())
    for causes, made in zip(one.causes, one.made, strict=True):
        clogged = np.flatnonzero(causes == Cause.CLOGGED)
        assert set(np.diff(clogged).tolist()) == {2}
        assert set(made[clogged].tolist()) == {Made.MEAN}


def test_every_wrong_sample_has_a_cause_that_the_story_names(
    truth: DemoTruth, captures: dict[str, Capture]
) -> None:
    """Every captured sample is the tape's own, but where a fault of the pass or a damage of its reel is to blame."""
    damages = {True: Cause.DAMAGE_ALIKE, False: Cause.DAMAGE_UNLIKE}
    for one in PASSES:
        capture = captures[one.name]
        named = {_CAUSES[fault.kind] for fault in one.faults if fault.kind != "slip"}
        named |= {damages[damage.alike] for damage in truth.damages[one.reel]}
        assert set(np.unique(capture.causes).tolist()) == named | {Cause.NONE}
        wrong = captured_samples(capture) != truth.reels[one.reel][capture.place]
        assert not (wrong & (capture.causes.T == Cause.NONE)).any()
        assert len(capture.slips) == sum(fault.kind == "slip" for fault in one.faults)


def test_a_crease_costs_each_pass_other_samples(captures: dict[str, Capture]) -> None:
    """Damage that passes meet unlike: each has losses in each track, and none is lost in both."""
    places = []
    for name in ("B1", "B2"):
        one = captures[name]
        creased = one.causes == Cause.DAMAGE_UNLIKE
        assert creased.any(axis=1).all()
        places.append({(track, int(one.place[at])) for track, at in zip(*np.nonzero(creased), strict=True)})
    assert not places[0] & places[1]


def test_a_damaged_place_is_wrong_in_every_pass_and_cuts_sound_off(
    truth: DemoTruth, captures: dict[str, Capture]
) -> None:
    """At least one stretch is lost: every pass that covers it is muted on all tracks, and it was loud there."""
    lost = [
        (name, slice(damage.sweep * SWEEP, (damage.sweep + damage.sweeps) * SWEEP))
        for name, damages in truth.damages.items()
        for damage in damages
        if damage.alike
    ]
    assert lost
    for name, place in lost:
        tape = truth.reels[name][place]
        assert np.sqrt(np.mean(tape.astype(float) ** 2, axis=0)).min() > 1000
        passes = [
            one for one in PASSES if one.reel == name and one.start < place.start and place.stop < one.end
        ]
        assert len(passes) >= 2
        for one in passes:
            here = slice(place.start - one.start, place.stop - one.start)
            assert not captured_samples(captures[one.name])[here].any()
