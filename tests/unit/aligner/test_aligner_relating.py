"""How one pass lies against another: slips found and located to the sample."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.place.anchors import anchor_positions
from assembler.aligner.place.relation import Relation, RelativeStretch, relate
from assembler.aligner.place.slips.blame import OwnSlip, probe_slips, reference_slips
from assembler.aligner.records.timemap import Slip
from assembler.importer import CoarseSlip, Position
from scripts.bench.trial_sessions import ArrayAudio, make_tape

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.place.slips.surplus import Slipped

SECOND = 48_000
TAPE = {
    name: make_tape(name, 16, 6 * SECOND, np.random.default_rng(5)) for name in ("dense", "quiet", "tones")
}


@pytest.mark.parametrize("character", list(TAPE))
@pytest.mark.parametrize("lost", [1, 7, 1500])
def test_samples_that_the_probe_lost_are_found_to_the_sample(character: str, lost: int) -> None:
    """The shift grows by what was lost, from the first sample behind the loss on."""
    tape = TAPE[character]
    at = 130_001
    probe = np.concatenate((tape[:, :at], tape[:, at + lost :]), axis=1)
    relation = relate(ArrayAudio(tape), ArrayAudio(probe), lambda _: 90, (0, probe.shape[1]), 2400)
    assert relation is not None
    assert [(s.start, s.shift) for s in relation.stretches] == [(0, 0), (at, lost)]


@pytest.mark.parametrize("character", list(TAPE))
@pytest.mark.parametrize("lost", [1, 7, 1500])
def test_samples_that_the_reference_lost_are_left_out(character: str, lost: int) -> None:
    """The probe's samples that the reference has not lie between two stretches, chance agreement or not."""
    tape = TAPE[character]
    at = 130_001
    reference = np.concatenate((tape[:, :at], tape[:, at + lost :]), axis=1)
    relation = relate(ArrayAudio(reference), ArrayAudio(tape), lambda _: -90, (0, tape.shape[1] - lost), 2400)
    assert relation is not None
    first, second = relation.stretches
    assert (first.end, second.start) == (at, at + lost)
    assert (first.shift, second.shift) == (0, -lost)


def test_a_slip_close_to_the_end_is_seen() -> None:
    """One anchor behind a slip is enough where the audio beside it agrees."""
    tape = TAPE["dense"]
    end = 6 * SECOND - 7000
    probe = np.concatenate((tape[:, :end], tape[:, end + 40 :]), axis=1)
    relation = relate(ArrayAudio(tape), ArrayAudio(probe), lambda _: 0, (0, probe.shape[1]), 1000)
    assert relation is not None
    assert [(s.start, s.shift) for s in relation.stretches] == [(0, 0), (end, 40)]


def test_samples_lost_close_to_the_end_are_seen_though_no_log_expects_them() -> None:
    """Farther than timecode's place reaches, and behind them there is room for one anchor alone."""
    tape = make_tape("dense", 16, 300_000, np.random.default_rng(12))
    probe = ArrayAudio(np.delete(tape, np.s_[294_000:296_048], axis=1))
    relation = relate(ArrayAudio(tape), probe, lambda _: 0, (0, probe.length), 960)
    assert relation is not None
    assert [one.shift for one in relation.stretches] == [0, 2048]
    assert abs(relation.stretches[1].start - 294_000) <= 8


def test_a_repeated_block_is_no_slip() -> None:
    """A block of 4000 samples played twice on all tracks, the sound going on in place, moves nothing."""
    tape = TAPE["dense"]
    probe = tape.copy()
    probe[:, 100_000:104_000] = tape[:, 96_000:100_000]
    relation = relate(ArrayAudio(tape), ArrayAudio(probe), lambda _: 0, (0, probe.shape[1]), 8000)
    assert relation is not None
    assert [s.shift for s in relation.stretches] == [0]


def test_what_is_proved_ends_with_the_last_anchor() -> None:
    """Silence behind the sound proves nothing, so the proof ends before it."""
    tape = TAPE["dense"].copy()
    tape[:, 4 * SECOND :] = 0
    relation = relate(ArrayAudio(tape), ArrayAudio(tape), lambda _: 0, (0, tape.shape[1]), 1000)
    assert relation is not None
    assert relation.proved[0] == 0
    assert 3.5 * SECOND < relation.proved[1] <= 4 * SECOND + 2048


def test_a_second_of_overlap_holds_enough_anchors() -> None:
    """A retake of one second has 24 anchors inside it; less than an anchor's length has none."""
    places = anchor_positions(1000, 1000 + SECOND)
    assert len(places) == 24
    assert (places[0], places[-1]) == (1000, 1000 + SECOND - 2048)
    assert anchor_positions(0, 2000) == []


@pytest.mark.parametrize("lost", [300, -300])
def test_a_slip_inside_a_flaw_is_in_doubt_over_the_whole_flaw(lost: int) -> None:
    """Where every track is muted around a slip, no sample tells its place, and all of the mute is in doubt."""
    tape = TAPE["dense"].copy()
    at = 130_001
    probe = np.concatenate((tape[:, :at], tape[:, at + lost :]), axis=1)
    probe[:, at - 1000 : at + 2000] = 0
    relation = relate(ArrayAudio(tape), ArrayAudio(probe), lambda _: 0, (0, probe.shape[1]), 2400)
    assert relation is not None
    low, high = relation.stretches[1].doubt
    assert low == pytest.approx(at - 1000, abs=4)
    assert high == pytest.approx(at + 2000, abs=4)


def test_a_slip_in_good_sound_is_hardly_in_doubt() -> None:
    """A few samples at most, which chance agreement explains, are in doubt where the sound goes on."""
    tape = TAPE["dense"]
    probe = np.concatenate((tape[:, :130_001], tape[:, 130_301:]), axis=1)
    relation = relate(ArrayAudio(tape), ArrayAudio(probe), lambda _: 0, (0, probe.shape[1]), 2400)
    assert relation is not None
    low, high = relation.stretches[1].doubt
    assert 130_001 - 4 <= low <= 130_001 <= high <= 130_001 + 4


def test_a_few_good_samples_before_a_slip_are_not_outvoted_by_chance() -> None:
    """Quiet material is equal by chance in some track, anywhere; that is no vote for a border inside a flaw."""
    tape = np.rint(1.2 * np.random.default_rng(8).standard_normal((8, 300_000))).astype(np.int32)
    at, repeated = 130_000, 1_500
    flawed = tape.copy()
    flawed[:, at - 6_000 : at - 240] = np.random.default_rng(9).integers(-1_000_000, 1_000_000, (8, 5_760))
    probe = np.concatenate((flawed[:, :at], flawed[:, at - repeated : at], tape[:, at:]), axis=1)
    relation = relate(ArrayAudio(tape), ArrayAudio(probe), lambda _: 0, (0, probe.shape[1]), 2400)
    assert relation is not None
    before, behind = relation.stretches
    assert (behind.start - before.end, behind.shift) == (repeated, -repeated)
    assert at - repeated <= before.end <= at


def test_a_slip_behind_a_short_sound_between_silences_is_found() -> None:
    """What sounds between two of the evenly spaced anchors, and else is silence, still proves its own place."""
    tape = TAPE["dense"].copy()
    tape[:, :150_000] = 0
    tape[:, 28_000:36_000] = TAPE["dense"][:, 28_000:36_000]
    probe = np.concatenate((tape[:, :100_000], tape[:, 100_288:]), axis=1)
    relation = relate(ArrayAudio(tape), ArrayAudio(probe), lambda _: 0, (0, probe.shape[1]), 2400)
    assert relation is not None
    assert [stretch.shift for stretch in relation.stretches] == [0, 288]
    low, high = relation.stretches[1].doubt
    assert low <= 100_000 <= high


def test_an_anchor_out_of_reach_is_no_slip_of_its_own() -> None:
    """Where timecode puts a slip late, an anchor behind it matches by chance where a tone repeats; but less of it."""
    tape = TAPE["dense"].copy()
    period = np.tile(TAPE["dense"][:4, :1_100], tape.shape[1] // 1_100 + 1)
    tape[:4] = period[:, : tape.shape[1]]
    probe = np.concatenate((tape[:, :130_000], tape[:, 132_000:]), axis=1)
    relation = relate(
        ArrayAudio(tape),
        ArrayAudio(probe),
        lambda at: 0 if at < 160_000 else 2_000,
        (0, probe.shape[1]),
        1_200,
    )
    assert relation is not None
    assert [stretch.shift for stretch in relation.stretches] == [0, 2_000]


def test_a_second_slip_close_behind_the_first_is_seen_in_strewn_losses() -> None:
    """One anchor alone lies between them, and less than half of it is identical at any shift."""
    tape = make_tape("dense", 16, 300_000, np.random.default_rng(31))
    held = tape.copy()
    lost = np.flatnonzero(np.random.default_rng(32).random(50_000) < 0.4) + 94_000
    held[:, lost] = (held[:, lost - 1].astype(np.int64) + held[:, lost + 1]) >> 1
    reference = ArrayAudio(np.concatenate((held[:, :140_000], held[:, 140_001:]), axis=1))
    probe = ArrayAudio(np.concatenate((tape[:, :102_000], tape[:, 102_512:]), axis=1))
    relation = relate(reference, probe, lambda _: 0, (0, 299_000), 2_000)
    assert relation is not None
    assert [one.shift for one in relation.stretches] == [0, 512, 511]


def test_slips_closer_together_than_anchors_are_seen_each() -> None:
    """A sample is lost twice, 8 000 samples apart; anchors stand 13 000 apart."""
    tape = make_tape("dense", 16, 300_000, np.random.default_rng(33))
    probe = ArrayAudio(
        np.concatenate((tape[:, :106_000], tape[:, 106_001:114_000], tape[:, 114_001:]), axis=1)
    )
    relation = relate(ArrayAudio(tape), probe, lambda _: 0, (0, 299_000), 2_000)
    assert relation is not None
    assert [one.shift for one in relation.stretches] == [0, 1, 2]
    assert abs(relation.stretches[1].start - 106_000) <= 8
    assert abs(relation.stretches[2].start - 113_999) <= 8


def test_a_series_of_slips_settles_whose_one_more_is() -> None:
    """Clocks that drift apart: three of four slips are told by the sound, all of one pass and by as much."""
    told: list[Slipped | None] = [None, "probe", "probe", "probe"]
    assert [one.is_sure for one in _slips_of(told)] == [True] * 4
    assert _slips_of([None, "reference", "reference", "reference"])[0].is_sure is False


def test_a_third_pass_that_slipped_there_itself_is_no_witness_against_the_log() -> None:
    """The reference's log shows what it lost; where a third pass lost samples, too, its change is another one."""
    other = _changing(-1024)
    lost = Position("mtc", 0.0, 20.0, (CoarseSlip(100_000, 1024, 20.0),))
    assert reference_slips(lost, {"A2": other, "A3": _changing(-896)}, [], SECOND) == [
        Slip(100_000, 1024, (100_000, 100_000))
    ]
    runs_on = Relation((RelativeStretch(0, 300_000, 0, (0, 0), None),), 1.0, 10, 10, (0, 300_000))
    assert not reference_slips(lost, {"A2": other, "A3": runs_on}, [], SECOND)


def _changing(change: int) -> Relation:
    """Return how a pass lies against one that lost samples at 100 000."""
    behind = 100_000 - change
    stretches = (
        RelativeStretch(0, 100_000, 0, (0, 0), None),
        RelativeStretch(behind, 300_000, change, (100_000, behind), None),
    )
    return Relation(stretches, 1.0, 10, 10, (0, 300_000))


def test_several_slips_in_a_mute_look_like_one_of_a_series() -> None:
    """Two slips of a sample are told, before and after; between them the shift changes by three at once."""
    changes = 1, 3, 1
    told: list[Slipped | None] = [None, "probe", None, "probe"]
    shifts = np.concatenate(([0], -np.cumsum(changes))).tolist()
    stretches = tuple(
        RelativeStretch(60_000 * n, 60_000 * (n + 1), shift, (60_000 * n, 60_000 * n), slipped)
        for n, (shift, slipped) in enumerate(zip(shifts, told, strict=True))
    )
    relation = Relation(stretches, 1.0, 10, 10, (0, 240_000))
    own = probe_slips(Position("mtc", 0.0, 20.0, ()), relation, (), (), SECOND)
    assert [one.is_sure for one in own] == [True] * 3


@pytest.mark.parametrize(("change", "is_sure"), [(-1, True), (-2, True), (-128, False)])
def test_a_series_has_room_for_no_more_slips_than_intervals(change: int, *, is_sure: bool) -> None:
    """In a mute longer than one interval two of a series may hide; a buffer that came twice is none of it."""
    stretches = [RelativeStretch(0, 60_000, 0)]
    for at, step, doubt in ((60_000, -1, 0), (120_000, -1, 0), (190_000, change, 65_000), (300_000, -1, 0)):
        shift = stretches[-1].shift + step
        slipped: Slipped | None = None if doubt else "probe"
        stretches.append(RelativeStretch(at, at + 60_000, shift, (at, at + doubt), slipped))
        stretches[-2] = replace(stretches[-2], end=at)
    relation = Relation(tuple(stretches), 1.0, 10, 10, (0, 360_000))
    own = probe_slips(Position("mtc", 0.0, 20.0, ()), relation, (), (), SECOND)
    assert [one.is_sure for one in own] == [True, True, is_sure, True]


@pytest.mark.parametrize(("middle", "is_probes"), [(120_000, True), (121_000, False)])
def test_what_lies_half_way_between_two_slips_is_of_their_series(middle: int, *, is_probes: bool) -> None:
    """Two of the probe, and between them one that the sound puts on the reference, which holds a sample there."""
    relation = _in_series(["probe", "reference", "probe"], (60_000, middle, 180_000))
    found = reference_slips(Position("mtc", 0.0, 20.0, ()), {"A2": relation}, [], SECOND)
    assert (found == []) is is_probes


def test_one_slip_of_the_other_pass_is_no_series() -> None:
    """Four at an interval of the reference, one of the probe; what a mute hides at the interval is the reference's."""
    told: list[Slipped | None] = ["reference", "reference", None, "reference", "reference", "probe"]
    relation = _in_series(told, (60_000, 120_000, 170_000, 240_000, 300_000, 350_000))
    hidden = replace(relation.stretches[3], doubt=(170_000, 190_000))
    relation = replace(relation, stretches=(*relation.stretches[:3], hidden, *relation.stretches[4:]))
    found = reference_slips(Position("mtc", 0.0, 20.0, ()), {"A2": relation}, [], SECOND)
    assert len(found) == 5


def test_a_slip_at_the_pace_of_a_series_is_no_other_passs() -> None:
    """The sound says of one of four that it is the reference's, which is believed where their intervals are uneven."""
    told: list[Slipped | None] = ["probe", "reference", "probe", "probe"]
    log = Position("mtc", 0.0, 20.0, ())
    assert (
        reference_slips(log, {"A2": _in_series(told, (60_000, 120_000, 180_000, 240_000))}, [], SECOND) == []
    )
    uneven = _in_series(told, (60_000, 150_000, 180_000, 240_000))
    assert len(reference_slips(log, {"A2": uneven}, [], SECOND)) == 1


@pytest.mark.parametrize("count", [1024, 2048, 8192])
def test_of_what_the_reference_took_twice_either_copy_may_be_left_out(count: int) -> None:
    """It is known by its first copy; here it is seen by its second one, and the pass lost as much a while later."""
    places = 0, 100_000, 160_000, 240_000
    stretches = tuple(
        RelativeStretch(start, end, count * number, (start, start))
        for number, (start, end) in enumerate(pairwise(places))
    )
    relation = Relation(stretches, 1.0, 10, 10, (0, 240_000))
    own = probe_slips(Position("mtc", 0.0, 20.0, ()), relation, [Slip(100_000 - count, -count)], (), SECOND)
    assert [(one.slip.pass_sample, one.slip.samples) for one in own] == [(160_000, count)]


def test_a_change_beside_a_copy_is_the_copys_before_one_close_by() -> None:
    """The reference took 8 192 samples twice; 1 300 before the first of them the pass lost as many."""
    places = 0, 90_500, 100_000, 240_000
    stretches = tuple(
        RelativeStretch(start - 8192 * n, end - 8192 * n, 8192 * n, (start - 8192 * n, start - 8192 * n))
        for n, (start, end) in enumerate(pairwise(places))
    )
    relation = Relation(stretches, 1.0, 10, 10, (0, 240_000))
    own = probe_slips(Position("mtc", 0.0, 20.0, ()), relation, [Slip(91_808, -8192)], (), SECOND)
    assert [one.slip.pass_sample for one in own] == [90_500 - 8192 + 8192]


def _slips_of(told: list[Slipped | None]) -> list[OwnSlip]:
    relation = _in_series(told, [60_000 * (n + 1) for n in range(len(told))])
    return probe_slips(Position("mtc", 0.0, 20.0, ()), relation, (), (), 48_000)


def test_of_two_clocks_that_drift_the_pace_tells_whose_a_slip_is() -> None:
    """Nothing else tells of two slips: they are the reference's, which lost a sample each 30 000 before, too."""
    reference, probe = (30_000, 60_000, 90_000, 120_000), (41_000, 84_000, 127_000)
    places = sorted((*reference, *probe))
    told: list[Slipped | None] = [
        None if at in (30_000, 60_000) else "reference" if at in reference else "probe" for at in places
    ]
    slips = reference_slips(Position("mtc", 0.0, 20.0, ()), {"A2": _in_series(told, places)}, [], SECOND)
    # Each slip before has moved the pass by a sample.
    assert [slip.pass_sample + places.index(at) for slip, at in zip(slips, reference, strict=True)] == list(
        reference
    )


def test_a_buffer_written_over_and_over_has_no_pace() -> None:
    """Each time it slips at one place of the other pass, and one more that the sound puts on that pass stays there."""
    whose: list[Slipped | None] = [None, "probe", "probe", "reference"]
    edges = pairwise((0, 60_000, 61_024, 122_048, 200_000))
    stretches = tuple(
        RelativeStretch(start, end, -1024 * n, (start, start), slipped)
        for n, ((start, end), slipped) in enumerate(zip(edges, whose, strict=True))
    )
    relation = Relation(stretches, 1.0, 10, 10, (0, 200_000))
    slips = reference_slips(Position("mtc", 0.0, 20.0, ()), {"A2": relation}, [], SECOND)
    assert [slip.samples for slip in slips] == [1024]


def _in_series(told: Sequence[Slipped | None], places: Sequence[int]) -> Relation:
    """Return how a pass lies against another one where one of them loses a sample at each of some places."""
    whose: list[Slipped | None] = [None, *told]
    stretches = tuple(
        RelativeStretch(start, end, -n, (start, start), slipped)
        for n, ((start, end), slipped) in enumerate(zip(pairwise((0, *places, 300_000)), whose, strict=True))
    )
    return Relation(stretches, 1.0, 10, 10, (0, 300_000))
