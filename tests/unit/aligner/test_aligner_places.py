"""Which differences between captures are judged as one place, and what looks lost where there are none."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.compare.notes import TrackNotes
from assembler.aligner.compare.places import losses_without_witness, one_place_each
from assembler.aligner.concealment.marks import HELD, Machine
from assembler.aligner.concealment.reel import Comparison
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import map_with_slips
from scripts.bench.trial_sessions import ArrayAudio

if TYPE_CHECKING:
    from assembler.arrays import Int32s

STREWN = 1_000, 9_000
MEANS_ON, HOLDS_ON = Machine(), Machine(single=HELD)


def _never(_: tuple[int, int]) -> bool:
    return False


def test_flaws_far_from_each_other_stay_apart() -> None:
    """Two clicks with 500 good samples between them are two."""
    clicks = [(1_000, 1_003), (1_500, 1_504)]
    assert one_place_each(clicks, _never) == clicks


def test_gaps_no_longer_than_what_they_part_are_bridged() -> None:
    """A level held over a wave differs from it in every other half period."""
    assert one_place_each([(1_000, 1_200), (1_400, 1_600), (1_800, 2_000)], _never) == [(1_000, 2_000)]


def test_short_differences_at_a_steady_pace_are_one() -> None:
    """A wave out of phase differs at its edges only, one sample each."""
    edges = [(at, at + 2) for at in range(1_000, 3_000, 400)]
    assert one_place_each(edges, _never) == [(1_000, edges[-1][1])]


def test_one_level_between_differences_joins_them() -> None:
    """A mute goes on where the sound under it is zero for a while; but not for longer than half a slow period."""
    assert one_place_each([(1_000, 1_014), (1_255, 1_269)], lambda gap: gap == (1_014, 1_255)) == [
        (1_000, 1_269)
    ]
    apart = [(1_000, 1_014), (2_100, 2_114)]
    assert one_place_each(apart, lambda _: True) == apart


def _pulses() -> Int32s:
    """Return a pulse wave of two levels, 240 and 160 samples of each."""
    return np.where(np.arange(10_000) % 400 < 240, 7_000, -7_000).astype(np.int32)


def _lost(samples: Int32s, machine: Machine) -> list[tuple[int, int]]:
    """Return what is told as lost of a track where other tracks show losses, in two blocks; they say 100 nats."""
    one = PlacedPass("A1", ArrayAudio(samples[None]), (map_with_slips(samples.size, 0, ()),))
    middle = sum(STREWN) // 2
    notes = TrackNotes(means={0: [((STREWN[0], middle), 40.0), ((middle, STREWN[1]), 60.0)]})
    comparison = Comparison([one], 0, 1, 16, [machine], [])
    found = losses_without_witness([one], notes, comparison, [], [])
    assert all(flaw.because == Because(Rule.STREWN, 100.0) for flaw in found)
    return [(flaw.start, flaw.end) for flaw in found]


def test_a_track_that_stands_still_lost_nothing() -> None:
    """Between equal neighbours a mean, or a level held, is the level again; only its end may come late."""
    still = np.full(10_000, 30, np.int32)
    still[9_500:] = 900
    assert _lost(still, MEANS_ON) == _lost(still, HOLDS_ON) == []
    late = still.copy()
    late[8_980:] = 900
    assert _lost(late, HOLDS_ON) == [STREWN]


def test_a_wave_of_two_levels_shows_a_lost_edge() -> None:
    """A machine that makes means leaves a third level at an edge, by the published rule; one that holds leaves none."""
    right = _pulses()
    assert _lost(right, MEANS_ON) == []
    assert _lost(right, HOLDS_ON) == [STREWN]
    lost = right.copy()
    lost[4_000] = 0
    assert _lost(lost, MEANS_ON) == [STREWN]
    several = right.copy()
    several[3_990:4_002], several[4_002] = right[3_989], 0
    assert _lost(several, MEANS_ON) == [STREWN]
