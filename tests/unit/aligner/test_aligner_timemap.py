"""Time maps: hand-worked places of samples around slips."""

from __future__ import annotations

import pytest

from assembler.aligner.records.timemap import Slip, Stretch, TimeMap, map_with_slips
from assembler.errors import PlanError


def test_lost_samples_leave_a_gap_on_the_timeline() -> None:
    """After 10 samples lost at pass sample 40 the rest lies 10 later; nothing lies in the gap."""
    time_map = map_with_slips(100, 1000, (Slip(40, 10),))
    assert time_map.stretches == (Stretch(0, 40, 1000), Stretch(40, 100, 1050))
    assert time_map.covering(1035, 1055) == (Stretch(35, 40, 1035), Stretch(40, 45, 1050))
    assert time_map.pass_ranges(1040, 1050) == ()


def test_repeated_samples_are_left_out() -> None:
    """Of 10 samples repeated at pass sample 40 none has a place; the one behind them follows without a gap."""
    time_map = map_with_slips(100, 1000, (Slip(40, -10),))
    assert time_map.stretches == (Stretch(0, 40, 1000), Stretch(50, 100, 1040))
    assert time_map.timeline_ranges(38, 52) == ((1038, 1040), (1040, 1042))
    assert time_map.timeline_ranges(41, 49) == ()


def test_what_a_pass_holds_of_a_place_goes_over_its_slips() -> None:
    """From timeline sample 1035 to 1055 it holds its samples 35 to 65, those that it repeated among them."""
    assert map_with_slips(100, 1000, (Slip(40, -10),)).pass_reach(1035, 1055) == (35, 65)
    assert map_with_slips(100, 1000, (Slip(40, 10),)).pass_reach(1035, 1055) == (35, 45)
    assert map_with_slips(100, 1000, (Slip(40, 10),)).pass_reach(1041, 1049) is None


def test_a_short_track_is_cut_off_where_it_ends() -> None:
    """A track of 45 samples keeps its part of the second stretch and nothing behind it."""
    time_map = map_with_slips(100, 0, (Slip(40, 10),)).cut_to(45)
    assert time_map.stretches == (Stretch(0, 40, 0), Stretch(40, 45, 50))
    assert map_with_slips(100, 0, (Slip(40, 10),)).cut_to(30).stretches == (Stretch(0, 30, 0),)


def test_moving_a_map_moves_its_timeline_only() -> None:
    """A map that is moved keeps its pass samples."""
    assert map_with_slips(10, 5, ()).moved(-3).stretches == (Stretch(0, 10, 2),)


def test_what_is_in_doubt_beside_a_slip_stays_so() -> None:
    """A map that is moved, or cut to a short track, keeps the pass range in which its slip may lie."""
    time_map = map_with_slips(100, 1000, (Slip(40, 10, (30, 45)),))
    for other in (time_map.moved(7), time_map.cut_to(60)):
        assert other.doubtful == time_map.doubtful == ((30, 45),)


@pytest.mark.parametrize(
    "stretches",
    [
        (Stretch(5, 5, 0),),
        (Stretch(0, 10, 0), Stretch(9, 20, 30)),
        (Stretch(0, 10, 0), Stretch(10, 20, 9)),
    ],
)
def test_maps_that_give_a_sample_two_places_are_refused(stretches: tuple[Stretch, ...]) -> None:
    """Empty or overlapping stretches are an error, in the pass as on the timeline."""
    with pytest.raises(PlanError, match="time map"):
        TimeMap(stretches)


@pytest.mark.parametrize(
    "slips", [(Slip(0, 4),), (Slip(100, 4),), (Slip(90, -20),), (Slip(50, -20), Slip(60, 4))]
)
def test_slips_outside_the_pass_or_inside_each_other_are_left_out(slips: tuple[Slip, ...]) -> None:
    """A slip has samples before it and behind it that are not another slip's repeats."""
    assert map_with_slips(100, 7, slips) == map_with_slips(100, 7, slips[:-1])
