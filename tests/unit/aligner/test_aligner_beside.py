"""What is known beside a place that is judged."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from assembler.aligner.compare.differences.beside import Beside
from assembler.aligner.compare.notes import TrackNotes
from assembler.aligner.compare.track import weigh_track
from assembler.aligner.comparison import compare_reel
from assembler.aligner.concealment.marks import Machine
from assembler.aligner.concealment.reel import Comparison, Concealed
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import Stretch, TimeMap, map_with_slips
from scripts.bench.trial_sessions import ArrayAudio, make_tape

WHY = Because(Rule.OUTVOTED)

LENGTH = 60_000
TAPE = make_tape("loop", 16, LENGTH, np.random.default_rng(71))[:1]


def _pass(name: str, samples: np.ndarray) -> PlacedPass:
    return PlacedPass(name, ArrayAudio(samples), (map_with_slips(samples.shape[1], 0, ()),))


@pytest.mark.parametrize(("gap", "is_before"), [(0, True), (60, True), (300, False), (5_000, False)])
def test_a_flaw_goes_on_right_behind_itself(gap: int, *, is_before: bool) -> None:
    """At its end a few samples may be right by chance."""
    beside = Beside([_pass("P1", TAPE)], 0, [FoundFlaw("P1", 0, "burst", 9_000, 10_000, because=WHY)])
    assert beside.is_flawed_before("P1", (10_000 + gap, 10_200 + gap)) == is_before
    assert beside.is_flawed_behind("P1", (8_000 - gap, 9_000 - gap)) == is_before


@pytest.mark.parametrize("goes_on", [True, False])
def test_a_level_held_is_one_event_for_as_long_as_it_lasts(*, goes_on: bool) -> None:
    """What another pass holds in between may be zeros by nature; the mute has not ended there."""
    muted = TAPE.copy()
    muted[0, 9_000 : 10_600 if goes_on else 10_300] = 0
    beside = Beside([_pass("P1", muted)], 0, [FoundFlaw("P1", 0, "mute", 9_000, 10_000, because=WHY)])
    assert beside.is_flawed_before("P1", (10_500, 10_600)) == goes_on


def test_a_flaw_goes_on_through_what_another_pass_lost() -> None:
    """It is known on both sides of the hole, and so inside."""
    beside = Beside([_pass("P1", TAPE)], 0, [FoundFlaw("P1", 0, "mute", 9_000, 10_000, because=WHY)])
    assert beside.is_flawed_before("P1", (9_500, 9_514))
    assert beside.is_flawed_behind("P1", (9_500, 9_514))


def test_a_copy_that_two_others_tell_in_part_is_told_whole() -> None:
    """The third pass begins in the middle of a block of a loop played twice; before it one stands against one."""
    copied = TAPE.copy()
    copied[0, 30_000:32_600] = TAPE[0, 27_400:30_000]
    retake = PlacedPass(
        "P3", ArrayAudio(TAPE[:, 32_000:]), (TimeMap((Stretch(0, LENGTH - 32_000, 32_000),)),)
    )
    placed = [_pass("P1", copied), _pass("P2", TAPE), retake]
    with ThreadPoolExecutor(2) as executor:
        findings = compare_reel(placed, [0], 1, 32_767, executor, lambda _: None)
    assert {flaw.pass_name for flaw in findings.flaws} == {"P1"}
    assert findings.undecided == ()


def test_what_is_left_beside_losses_is_their_pass_s_flaw() -> None:
    """Two samples that a mute's ramp moved say too little by themselves; that the pass lost those before them tells."""
    right = make_tape("dense", 16, LENGTH, np.random.default_rng(72))[:1]
    moved = right.copy()
    moved[0, 30_000:30_002] = right[0, 29_999], (int(right[0, 29_999]) + int(right[0, 30_002])) // 2 + 3
    placed = [_pass("P1", right), _pass("P2", moved)]
    comparison = Comparison(placed, 0, 1, 16, [Machine()] * 2, [(30_000, 30_002)])
    losses = FoundFlaw("P2", 0, "means", 28_600, 30_000, because=Because(Rule.CONCEALED, 500.0))
    stopped = Because(Rule.STANDSTILL)
    stops = [FoundFlaw(name, 0, "mute", 30_002, 33_000, because=stopped) for name in ("P1", "P2")]
    nothing, lost, both = (
        weigh_track(
            placed,
            TrackNotes(split={(0, 1): [(30_000, 30_002)]}),
            (1 << 15) - 1,
            comparison,
            Concealed(hidden, [], [(30_000, 30_002)], []),
            known,
        )
        for hidden, known in (([], []), ([losses], []), ([losses], stops))
    )
    assert [(one.start, one.end) for one in nothing.undecided] == [(30_000, 30_002)]
    assert lost.undecided == []
    assert {one.pass_name for one in lost.flaws} == {"P2"}
    # Both are muted right behind, and either may be turned down there already.
    assert [(one.start, one.end) for one in both.undecided] == [(30_000, 30_002)]
