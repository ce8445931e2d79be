"""What tracks that lost sync together tell of each other."""

from __future__ import annotations

from assembler.aligner.findings import FoundFlaw, Undecided
from assembler.aligner.syncing import settle_by_other_tracks

OPEN = Undecided(5, 1010, 1990, "A1", ("A2",))
SUPPOSED = FoundFlaw("A2", 5, "disagreement", 1010, 1990)


def _lost(name: str, track: int, start: int = 1000, end: int = 2000) -> FoundFlaw:
    return FoundFlaw(name, track, "mute", start, end)


def test_two_other_tracks_settle_a_place() -> None:
    """The pass that is muted between the same borders on two tracks is the flawed one on the third too."""
    flaws, left = settle_by_other_tracks([_lost("A1", 0), _lost("A1", 3), SUPPOSED], [OPEN], 1024)
    assert left == []
    assert FoundFlaw("A1", 5, "mute", 1010, 1990) in flaws
    assert SUPPOSED not in flaws


def test_one_other_track_is_not_enough() -> None:
    """A flaw of one other track may stand there by chance."""
    flaws, left = settle_by_other_tracks([_lost("A1", 0), SUPPOSED], [OPEN], 1024)
    assert (flaws, left) == ([_lost("A1", 0), SUPPOSED], [OPEN])


def test_other_borders_settle_nothing() -> None:
    """Flaws that begin or end elsewhere are others."""
    flaws = [_lost("A1", 0, end=2500), _lost("A1", 3, start=400), SUPPOSED]
    assert settle_by_other_tracks(flaws, [OPEN], 1024) == (flaws, [OPEN])


def test_passes_that_both_lost_sync_settle_nothing() -> None:
    """Where both passes are flawed between the same borders, neither is the right one."""
    flaws = [_lost("A1", 0), _lost("A1", 3), _lost("A2", 1), SUPPOSED]
    assert settle_by_other_tracks(flaws, [OPEN], 1024) == (flaws, [OPEN])


def test_undecided_places_bear_no_witness() -> None:
    """What is only supposed on one undecided track settles no other one."""
    others = [Undecided(track, 1000, 2000, "A1", ("A2",)) for track in (0, 1, 2)]
    supposed = [FoundFlaw("A2", track, "disagreement", 1000, 2000) for track in (0, 1, 2)]
    flaws, left = settle_by_other_tracks([*supposed, SUPPOSED], [*others, OPEN], 1024)
    assert flaws == [*supposed, SUPPOSED]
    assert sorted(place.track for place in left) == [0, 1, 2, 5]


def test_parts_of_one_place_stand_or_fall_together() -> None:
    """A place in parts is settled by its outer borders; flaws decided between the parts stay."""
    parts = [Undecided(5, 1000, 1300, "A1", ("A2",)), Undecided(5, 1600, 2000, "A1", ("A2",))]
    between = FoundFlaw("A2", 5, "click", 1400, 1402)
    flaws, left = settle_by_other_tracks([_lost("A1", 0), _lost("A1", 3), between], parts, 1024)
    assert left == []
    assert between in flaws
    assert {(one.start, one.end) for one in flaws if one.track == 5 and one.pass_name == "A1"} == {
        (1000, 1300),
        (1600, 2000),
    }
