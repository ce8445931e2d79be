"""Stretches that lie at another shift than the anchors around them."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.place.reels.strayed import strayed_ranges
from assembler.aligner.place.relation import relate
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, ReelFindings, Undecided
from assembler.aligner.records.timemap import Slip, TimeMap, map_with_slips
from scripts.bench.trial_sessions import ArrayAudio, make_tape

AT, APART = 130_001, 9000
BECAUSE = Because(Rule.STORY, 30.0)
TAPE = make_tape("dense", 16, 300_000, np.random.default_rng(8))
MAP = map_with_slips(300_000, 500, (Slip(50_000, 100),))


def _flaw(track: int, start: int, end: int, kind: str = "burst") -> FoundFlaw:
    return FoundFlaw("A2", track, kind, start, end, because=BECAUSE)


@pytest.mark.parametrize("change", [1, 40, 1024])
def test_shifts_that_undo_each_other_are_found_where_told_to_look(change: int) -> None:
    """Between two anchors of one shift: the probe lost samples, and 9 000 later the reference lost as many."""
    reference = ArrayAudio(np.delete(TAPE, np.s_[AT + APART : AT + APART + change], axis=1))
    probe = ArrayAudio(np.delete(TAPE, np.s_[AT : AT + change], axis=1))
    asked = reference, probe, lambda _: 0, (0, probe.length), 960
    unseen = relate(*asked)
    assert unseen is not None
    assert [one.shift for one in unseen.stretches] == [0]
    seen = relate(*asked, [(AT - 100, AT + APART + 100)])
    assert seen is not None
    assert [(one.start, one.shift) for one in seen.stretches] == [(0, 0), (AT, change), (AT + APART, 0)]


def test_what_differs_on_several_tracks_is_looked_at_in_each_pass() -> None:
    """In samples of the pass, whichever pass is called flawed there, or if it is left open."""
    findings = ReelFindings(
        (_flaw(0, 100_000, 103_000), _flaw(1, 103_020, 110_000)),
        (Undecided(2, 99_000, 112_000, "A1", ("A2",), because=BECAUSE),),
    )
    maps = {"A1": TimeMap(MAP.stretches), "A2": MAP.moved(-500)}
    assert strayed_ranges(findings, maps) == {"A1": ((99_400, 109_400),), "A2": ((99_900, 109_900),)}


@pytest.mark.parametrize(
    "flaws",
    [
        (_flaw(0, 100_000, 110_000), _flaw(1, 120_000, 130_000)),
        (_flaw(0, 100_000, 101_000), _flaw(1, 100_000, 101_000)),
        (_flaw(0, 100_000, 110_000, "means"), _flaw(1, 100_000, 110_000, "mute")),
    ],
    ids=["one track each", "shorter than short anchors", "of itself a flaw"],
)
def test_what_is_no_sound_elsewhere_is_not_looked_at(flaws: tuple[FoundFlaw, ...]) -> None:
    """A flaw of one track lies in place; what is shorter than a few anchors proves none; concealment is no sound."""
    assert strayed_ranges(ReelFindings(flaws), {"A1": MAP}) == {}
