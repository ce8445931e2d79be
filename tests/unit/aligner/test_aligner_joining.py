"""Joins with their evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.plan.joins.prove import prove_join
from assembler.aligner.plan.path.choices import PlannedJoin
from assembler.aligner.records.edit import CONSTANT_POWER, CUT, EDGE, IDENTICAL
from scripts.bench.trial_sessions import make_tape

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Int32s

SOUND = make_tape("dense", 16, 20_000, np.random.default_rng(51))[0]
PLANNED = PlannedJoin(10_000, 480, "one", "two", (8000, 12_000))


def _side(held: Int32s) -> Callable[[int, int], Int32s]:
    return lambda start, end: held[start:end]


def test_identical_sides_need_no_fade() -> None:
    """Where both sides are the same numbers the join is a cut that cannot be found."""
    join = prove_join(PLANNED, _side(SOUND), _side(SOUND.copy()))
    assert (join.at, join.fade, join.law, join.correlation, join.difference_peak) == (
        10_000,
        0,
        IDENTICAL,
        1.0,
        0,
    )


def test_a_join_moves_to_the_nearest_identical_place() -> None:
    """A difference at the planned place moves the join just so far that the proof holds on both sides."""
    other = SOUND.copy()
    other[9990:10_050] += 9
    join = prove_join(PLANNED, _side(SOUND), _side(other))
    assert (join.law, join.at) == (IDENTICAL, 9990 - 240)
    assert np.array_equal(other[join.at - 240 : join.at + 240], SOUND[join.at - 240 : join.at + 240])
    other[9800:9990] += 9
    join = prove_join(PLANNED, _side(SOUND), _side(other))
    assert (join.law, join.at) == (IDENTICAL, 10_050 + 240)


def test_sides_that_differ_throughout_are_faded() -> None:
    """The fade has the planned length, the measured correlation and the largest difference under it."""
    other = SOUND + np.where(np.arange(SOUND.size) % 2, 5, -5).astype(np.int32)
    other[9900] += 100
    join = prove_join(PLANNED, _side(SOUND), _side(other))
    assert (join.at, join.fade, join.law, join.difference_peak) == (10_000, 480, CONSTANT_POWER, 95)
    assert 0.99 < join.correlation < 1.0


def test_without_room_it_is_a_cut() -> None:
    """Where one side ends as the other begins nothing is compared."""
    planned = PlannedJoin(10_000, 0, "one", "two", (10_000, 10_000))
    assert prove_join(planned, _side(SOUND), _side(SOUND)).law == CUT


def test_beside_silence_it_is_an_edge() -> None:
    """What no pass covers has no evidence to give."""
    planned = PlannedJoin(10_000, 0, None, "two", (10_000, 10_000))
    assert prove_join(planned, None, _side(SOUND)).law == EDGE
