"""What flaws point at: the tape, the machine, a part that turns, or nothing.

That one place flawed in every pass points at the tape, and one flawed in a single pass at the machine, is common
practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, ReelFindings, Undecided
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import Slip, map_with_slips
from assembler.aligner.tell.tape.causes import find_causes, log_tail, steady_interval
from scripts.bench.trial_sessions import ArrayAudio

WHY = Because(Rule.OUTVOTED)

RATE = 48000
LENGTH = 100_000


def placed(name: str, *slips: Slip, start: int = 0, length: int = LENGTH) -> PlacedPass:
    """Return a pass of two tracks."""
    audio = ArrayAudio(np.zeros((2, length), np.int32))
    return PlacedPass(name, audio, (map_with_slips(length, start, slips),) * 2)


def flaw(name: str, start: int, end: int, kind: str = "mute", track: int = 0) -> FoundFlaw:
    """Return a flaw, of the first track if nothing is said."""
    return FoundFlaw(name, track, kind, start, end, because=WHY)


def test_a_lone_pass_tells_nothing_of_tape_or_machine() -> None:
    """With one pass, or one that covers the place alone, a flaw is counted and blamed on nothing."""
    for others in ([], [placed("B", start=50_000)]):
        causes = find_causes([placed("A"), *others], ReelFindings((flaw("A", 1000, 2000),)))
        assert causes.tape == ()
        assert causes.machine["A"] == ()
        assert causes.untold["A"] == ((1000, 2000),)


def test_what_one_pass_lost_in_a_slip_is_not_the_tape() -> None:
    """Lost samples read as zeros and look like a mute; right in the other pass they are the machine's doing."""
    slipped = placed("B", Slip(40_000, 196))
    causes = find_causes([placed("A"), slipped], ReelFindings((flaw("B", 40_000, 40_196),)))
    assert causes.tape == ()
    assert causes.machine == {"A": (), "B": ((40_000, 40_196),)}
    unsure = find_causes([placed("A"), slipped], ReelFindings(()), [("B", 40_000)])
    assert unsure.machine["B"] == ()


def test_flaws_of_all_passes_that_overlap_are_the_tape() -> None:
    """Each pass meets the same spot a little differently: kinds and ends need not be the same."""
    flaws = (flaw("A", 1000, 2000), flaw("B", 1300, 2400, "burst"), flaw("B", 9000, 9100))
    causes = find_causes([placed("A"), placed("B")], ReelFindings(flaws))
    assert causes.tape == ((1300, 2000),)
    assert {one.pass_name for one in causes.flaws} == {"A", "B"}
    assert causes.machine == {"A": (), "B": ((9000, 9100),)}


def test_a_slip_and_a_mute_at_one_place_are_the_tape() -> None:
    """A pass that lost samples where the other is muted met the same spot."""
    causes = find_causes(
        [placed("A"), placed("B", Slip(40_000, 300))], ReelFindings((flaw("A", 39_900, 40_200),))
    )
    assert causes.tape == ((40_000, 40_200),)


def test_flawed_in_two_of_three_is_a_weak_spot() -> None:
    """What two passes have wrong and a third one right is neither pass's machine alone."""
    passes = [placed(name) for name in "ABC"]
    causes = find_causes(passes, ReelFindings((flaw("A", 1000, 2000), flaw("B", 1500, 2500))))
    assert causes.tape == ()
    assert causes.weak == ((1000, 2500),)
    assert all(places == () for places in causes.machine.values())


def test_an_undecided_place_points_at_nothing() -> None:
    """Where nothing tells which pass is right none of them is known to be flawed."""
    doubt = Undecided(0, 1000, 2000, "A", ("B",), because=WHY)
    findings = ReelFindings((flaw("B", 1000, 2000, "disagreement"),), (doubt,))
    causes = find_causes([placed("A"), placed("B")], findings)
    assert causes.machine["B"] == ()
    both = ReelFindings((flaw("A", 10, 20, "disagreement"), flaw("B", 10, 20, "disagreement")))
    assert find_causes([placed("A"), placed("B")], both).tape == ()


def test_tracks_hit_by_one_event_are_one_place() -> None:
    """A crease across the tape is told once, and other tracks' flaws beside it are not the machine's."""
    flaws = [flaw(name, 1000, 2000, track=track) for name in "AB" for track in (0, 1)]
    flaws.append(flaw("A", 1900, 2100, track=1))
    causes = find_causes([placed("A"), placed("B")], ReelFindings(tuple(flaws)))
    assert causes.tape == ((1000, 2000),)
    assert causes.machine["A"] == ()


@pytest.mark.parametrize("missed", [0.0, 0.2, 0.4])
@pytest.mark.parametrize("turn_ms", [20.0, 33.3, 200.0])
def test_places_at_a_steady_pace_give_their_interval(turn_ms: float, missed: float) -> None:
    """Flaws that begin up to 1 ms off their moment, some turns harmless, are told by the interval of the turns."""
    random = np.random.default_rng(round(turn_ms + 10 * missed))
    for _ in range(20):
        turns = np.flatnonzero(random.random(60) >= missed)[:20]
        starts = 5000 + turns * turn_ms * RATE / 1000 + random.uniform(-48, 48, turns.size)
        interval = steady_interval(np.round(starts).astype(np.int64), RATE)
        assert interval is not None
        assert abs(interval / (turn_ms * RATE / 1000) - 1) < 0.01


def test_flaws_of_another_cause_between_do_not_hide_a_pace() -> None:
    """Three flaws at random among twenty turns of a drum."""
    random = np.random.default_rng(5)
    starts = np.arange(20) * 1600 + random.uniform(-24, 24, 20)
    mixed = np.sort(np.concatenate((starts, random.uniform(0, 32_000, 3))).astype(np.int64)) + 100
    interval = steady_interval(mixed, RATE)
    assert interval is not None
    assert abs(interval - 1600) < 16


def test_places_at_random_have_no_interval() -> None:
    """Of a thousand random rows of places none is taken for steady, whether spread out or in clusters."""
    random = np.random.default_rng(7)
    for number in range(1000):
        count = int(random.integers(6, 60))
        starts = random.integers(0, int(random.integers(200_000, 20_000_000)), count)
        if number % 2:
            starts = (starts[: count // 3, None] + random.integers(0, 20_000, (count // 3, 3))).ravel()
        assert steady_interval(np.sort(starts), RATE) is None


def test_few_places_have_no_interval() -> None:
    """Five places tell nothing about a pace."""
    assert steady_interval(np.arange(5) * 1000, RATE) is None


def test_nothing_turns_as_slowly_as_that() -> None:
    """Flaws every 22 s are as steady as can be, but no part of a tape machine takes so long for a turn."""
    assert steady_interval(np.arange(20) * 3 * RATE, RATE) is not None
    assert steady_interval(np.arange(20) * 22 * RATE, RATE) is None


@pytest.mark.parametrize("trials", [1, 7, 60, 3000])
@pytest.mark.parametrize("share", [1e-4, 0.03, 0.49])
def test_the_tail_is_that_of_the_binomial_distribution(trials: int, share: float) -> None:
    """The chance of so many hits or more is what scipy's distribution says, as far as its numbers reach."""
    for least in {0, 1, trials // 2, trials}:
        expected = float(binom.logsf(least - 1, trials, share))
        if np.isfinite(expected):
            assert log_tail(least, trials, share) == pytest.approx(expected, rel=1e-8, abs=1e-12)
        else:
            assert log_tail(least, trials, share) < -700
