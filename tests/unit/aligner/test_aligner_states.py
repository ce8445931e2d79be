"""States of stretches on examples worked by hand, and of a whole tape."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assembler.aligner.states.track import Closed, PassHoldings, stretches_of
from assembler.verdict.states import (
    State,
    StateStretch,
    TrackStates,
    share_words,
    shares_of,
    shares_words,
    worst_of,
)

PROVEN, ONCE, SUSPECT, FLAWED, MISSING = State


def told(*stretches: tuple[int, int, State]) -> tuple[StateStretch, ...]:
    """Return stretches as records."""
    return tuple(StateStretch(*one) for one in stretches)


def holds(name: str, *covered: tuple[int, int], flawed: tuple[tuple[int, int], ...] = ()) -> PassHoldings:
    """Return what a pass holds."""
    return PassHoldings(name, covered, flawed)


def states(*held: PassHoldings, closed: Closed | None = None, reach: tuple[int, int] = (0, 100)) -> object:
    """Return the states where all passes are of one sound."""
    return stretches_of(reach, held, closed or Closed(), lambda *_: True)


def test_one_pass_is_seen_once_and_two_prove() -> None:
    """A1 has 0 to 100, A2 40 to 60."""
    found = states(holds("A1", (0, 100)), holds("A2", (40, 60)))
    assert found == told((0, 40, ONCE), (40, 60, PROVEN), (60, 100, ONCE))


def test_a_flaw_takes_its_pass_away() -> None:
    """Of two passes one is left, of one none; a third that is right makes two again."""
    flawed = holds("A1", (0, 100), flawed=((10, 20), (30, 40)))
    other = holds("A2", (0, 35))
    assert states(flawed, other) == told(
        (0, 10, PROVEN), (10, 20, ONCE), (20, 30, PROVEN), (30, 35, ONCE), (35, 40, FLAWED), (40, 100, ONCE)
    )
    assert states(flawed, other, holds("A3", (0, 100))) == told(
        (0, 35, PROVEN), (35, 40, ONCE), (40, 100, PROVEN)
    )


def test_what_no_pass_covers_is_missing() -> None:
    """Between two passes, lost in a slip, and at the ends of a track that is shorter than the others."""
    assert states(holds("A1", (10, 30), (35, 50)), holds("A2", (60, 90))) == told(
        (0, 10, MISSING),
        (10, 30, ONCE),
        (30, 35, MISSING),
        (35, 50, ONCE),
        (50, 60, MISSING),
        (60, 90, ONCE),
        (90, 100, MISSING),
    )


def test_passes_of_other_numbers_do_not_prove_each_other() -> None:
    """Two that are nowhere identical are each seen once."""
    held = holds("A1", (0, 100)), holds("A2", (0, 100))
    assert stretches_of((0, 100), held, Closed(), lambda *_: False) == told((0, 100, ONCE))


def test_what_a_lesser_pass_alone_has_may_not_count() -> None:
    """Where the better one is flawed, only if a person lets it stand in."""
    lesser = replace(holds("A2", (0, 100)), may_stand_alone=False)
    held = holds("A1", (0, 100), flawed=((40, 50),)), lesser
    assert stretches_of((0, 100), held, Closed(), lambda *_: False) == told(
        (0, 40, ONCE), (40, 50, FLAWED), (50, 100, ONCE)
    )


def test_an_undecided_place_is_flawed_also_where_a_third_pass_agrees() -> None:
    """It is listed for a person, whatever else is known."""
    held = holds("A1", (0, 100)), holds("A2", (0, 100)), holds("A3", (0, 100))
    assert states(*held, closed=Closed(undecided=((40, 41),))) == told(
        (0, 40, PROVEN), (40, 41, FLAWED), (41, 100, PROVEN)
    )


def test_a_woven_stretch_is_seen_once() -> None:
    """No pass is right as a whole, every sample in one."""
    held = holds("A1", (0, 100), flawed=((40, 60),)), holds("A2", (0, 100), flawed=((40, 60),))
    assert states(*held, closed=Closed(woven=((40, 60),))) == told(
        (0, 40, PROVEN), (40, 60, ONCE), (60, 100, PROVEN)
    )


def test_a_suspect_stretch_is_never_better_and_a_flawed_one_stays() -> None:
    """It may lie across a proven, a lone and a flawed stretch."""
    held = holds("A1", (0, 100), flawed=((60, 70),)), holds("A2", (0, 50))
    assert states(*held, closed=Closed(suspect=((40, 80),))) == told(
        (0, 40, PROVEN), (40, 60, SUSPECT), (60, 70, FLAWED), (70, 80, SUSPECT), (80, 100, ONCE)
    )


def test_what_was_never_recorded_is_neither_missing_nor_flawed() -> None:
    """There is nothing to save."""
    held = holds("A1", (0, 50), flawed=((40, 50),))
    assert states(held, closed=Closed(unrecorded=((40, 90),))) == told(
        (0, 40, ONCE), (40, 90, PROVEN), (90, 100, MISSING)
    )


def test_a_tape_is_as_bad_as_its_worst_track() -> None:
    """At each place the worst of two tracks."""
    first = TrackStates(0, told((0, 40, PROVEN), (40, 50, FLAWED), (50, 100, ONCE)))
    second = TrackStates(1, told((0, 20, ONCE), (20, 45, PROVEN), (45, 60, MISSING), (60, 100, PROVEN)))
    assert worst_of([first, second]) == told(
        (0, 20, ONCE), (20, 40, PROVEN), (40, 45, FLAWED), (45, 60, MISSING), (60, 100, ONCE)
    )


def test_shares_add_to_one() -> None:
    """Of ten samples five, three and two; none of nothing."""
    shares = shares_of(told((0, 5, PROVEN), (5, 8, ONCE), (8, 10, MISSING)))
    assert shares == {PROVEN: 0.5, ONCE: 0.3, SUSPECT: 0.0, FLAWED: 0.0, MISSING: 0.2}
    assert shares_words(shares) == "proven 50.0%, seen once 30.0%, missing 20.0%"
    assert set(shares_of([]).values()) == {0.0}


@pytest.mark.parametrize(
    ("share", "words"), [(1.0, "100.0%"), (0.99999, ">99.9%"), (0.0001, "<0.1%"), (0.25, "25.0%")]
)
def test_little_is_not_told_as_nothing(share: float, words: str) -> None:
    """Nor nearly all as all."""
    assert share_words(share) == words
