"""What tracks that lost sync together tell of each other."""

from __future__ import annotations

from dataclasses import replace

from assembler.aligner.events.settle import settle_by_other_tracks
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided

WHY = Because(Rule.OUTVOTED)

OPEN = Undecided(5, 1010, 1990, "A1", ("A2",), because=WHY)
SUPPOSED = FoundFlaw("A2", 5, "disagreement", 1010, 1990, because=WHY)


def _lost(name: str, track: int, start: int = 1000, end: int = 2000) -> FoundFlaw:
    return FoundFlaw(name, track, "mute", start, end, because=WHY)


def test_two_other_tracks_settle_a_place() -> None:
    """The pass that is muted between the same borders on two tracks is the flawed one on the third too."""
    flaws, left = settle_by_other_tracks([_lost("A1", 0), _lost("A1", 3), SUPPOSED], [OPEN])
    assert left == []
    assert FoundFlaw("A1", 5, "mute", 1010, 1990, because=WHY) in flaws
    assert SUPPOSED not in flaws


def test_one_other_track_is_not_enough() -> None:
    """A flaw of one other track may stand there by chance."""
    flaws, left = settle_by_other_tracks([_lost("A1", 0), SUPPOSED], [OPEN])
    assert (flaws, left) == ([_lost("A1", 0), SUPPOSED], [OPEN])


def test_other_borders_settle_nothing() -> None:
    """Flaws that begin or end elsewhere are others."""
    flaws = [_lost("A1", 0, end=2500), _lost("A1", 3, start=400), SUPPOSED]
    assert settle_by_other_tracks(flaws, [OPEN]) == (flaws, [OPEN])


def test_passes_that_both_lost_sync_settle_nothing() -> None:
    """Where both passes are flawed between the same borders, neither is the right one."""
    flaws = [_lost("A1", 0), _lost("A1", 3), _lost("A2", 1), SUPPOSED]
    assert settle_by_other_tracks(flaws, [OPEN]) == (flaws, [OPEN])


def test_undecided_places_bear_no_witness() -> None:
    """What is only supposed on one undecided track settles no other one."""
    others = [Undecided(track, 1000, 2000, "A1", ("A2",), because=WHY) for track in (0, 1, 2)]
    supposed = [FoundFlaw("A2", track, "disagreement", 1000, 2000, because=WHY) for track in (0, 1, 2)]
    flaws, left = settle_by_other_tracks([*supposed, SUPPOSED], [*others, OPEN])
    assert flaws == [*supposed, SUPPOSED]
    assert sorted(place.track for place in left) == [0, 1, 2, 5]


def test_parts_of_one_place_stand_or_fall_together() -> None:
    """A place in parts is settled by its outer borders; flaws decided between the parts stay."""
    parts = [
        Undecided(5, 1000, 1300, "A1", ("A2",), because=WHY),
        Undecided(5, 1600, 2000, "A1", ("A2",), because=WHY),
    ]
    between = FoundFlaw("A2", 5, "click", 1400, 1402, because=WHY)
    flaws, left = settle_by_other_tracks([_lost("A1", 0), _lost("A1", 3), between], parts)
    assert left == []
    assert between in flaws
    assert {(one.start, one.end) for one in flaws if one.track == 5 and one.pass_name == "A1"} == {
        (1000, 1300),
        (1600, 2000),
    }


def test_a_place_decided_in_part_has_the_borders_of_the_whole() -> None:
    """The same pass is flawed up to the open part on this track: both together are what the other tracks show."""
    open_part = Undecided(5, 1500, 2000, "A1", ("A2",), because=WHY)
    flaws, left = settle_by_other_tracks(
        [_lost("A1", 0), _lost("A1", 3), _lost("A1", 5, end=1500)], [open_part], ()
    )
    assert left == []
    assert FoundFlaw("A1", 5, "mute", 1500, 2000, because=WHY) in flaws


def test_a_flaw_of_the_other_pass_that_ends_here_keeps_a_place_open() -> None:
    """It may well reach into the place; then neither pass is right there."""
    other = _lost("A2", 5, start=1990, end=2400)
    flaws = [_lost("A1", 0), _lost("A1", 3), other]
    assert settle_by_other_tracks(flaws, [OPEN]) == (flaws, [OPEN])


def test_a_doubtful_place_stays_open() -> None:
    """That one pass lost sync does not make the other one right where it looks wrong as well."""
    doubtful = replace(OPEN, is_doubtful=True)
    assert settle_by_other_tracks([_lost("A1", 0), _lost("A1", 3)], [doubtful])[1] == [doubtful]


def test_three_passes_that_differ_are_not_settled() -> None:
    """That one of three lost sync says nothing of the other two."""
    three = replace(OPEN, others=("A2", "A3"))
    assert settle_by_other_tracks([_lost("A1", 0), _lost("A1", 3)], [three])[1] == [three]


def _lost_at_once(name: str) -> list[FoundFlaw]:
    return [_lost(name, track, 1000, 9000) for track in (0, 1, 2, 3, 4)]


def test_lost_sync_settles_a_part_of_it_on_a_track_that_rests() -> None:
    """Passes differ only where the track sounds; that the other tracks lost sync before and behind tells which."""
    stroke = Undecided(5, 3000, 4000, "A1", ("A2",), because=WHY)
    flaws, left = settle_by_other_tracks(_lost_at_once("A1"), [stroke])
    assert left == []
    assert FoundFlaw("A1", 5, "mute", 3000, 4000, because=WHY) in flaws
    assert settle_by_other_tracks(_lost_at_once("A1")[:3], [stroke])[1] == [stroke]


def test_a_sample_left_open_between_losses_is_lost_by_the_pass_that_lost_them() -> None:
    """Unless that pass is likely to have it right: then the other one lost it, too."""
    concealed = Because(Rule.CONCEALED, 50.0)
    losses = [FoundFlaw("A1", track, "means", 1000, 2000, because=concealed) for track in (0, 1, 2, 5)]
    sample = Undecided(5, 1500, 1501, "A2", ("A1",), because=Because(Rule.CONCEALED, 2.0))
    found, left = settle_by_other_tracks(losses, [sample])
    assert left == []
    assert FoundFlaw("A1", 5, "means", 1500, 1501, because=WHY) in found
    for likely in (replace(sample, taken="A1", others=("A2",)), replace(sample, is_doubtful=True)):
        assert settle_by_other_tracks(losses, [likely])[1] == [likely]


def test_a_much_longer_flaw_of_other_tracks_settles_nothing() -> None:
    """Two flaws may begin and end closely by chance where one of them is short."""
    short = Undecided(5, 1048, 1072, "A1", ("A2",), because=WHY)
    supposed = FoundFlaw("A2", 5, "straight", 1048, 1072, because=WHY)
    flaws = [_lost("A1", 0, end=1080), _lost("A1", 3, end=1080), supposed]
    assert settle_by_other_tracks(flaws, [short]) == (flaws, [short])


def test_lost_samples_of_other_tracks_settle_no_other_difference() -> None:
    """Both differ between the same borders: what concealment explains is its flaw here, too, and nothing else is."""
    means = [replace(_lost("A1", track), kind="means") for track in (0, 1, 3, 4)]
    concealed = replace(OPEN, because=Because(Rule.CONCEALED, 0.5))
    assert settle_by_other_tracks(means, [concealed])[1] == []
    assert settle_by_other_tracks(means, [replace(OPEN, because=Because(Rule.STORY, 2.0))])[1] != []
    assert settle_by_other_tracks([_lost("A1", 0), _lost("A1", 3)], [OPEN])[1] == []
