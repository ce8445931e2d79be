"""Places to listen to: single look-alikes before habits, several tracks before one, at most so many an hour.

The odds are worked out by hand from the counts in each test; no standard ranks such places.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from math import log

import numpy as np
import pytest

from assembler.aligner.comparison import compare_reel
from assembler.aligner.events.limits import NEARBY_NATS, NEARBY_SAMPLES, SINGLE_NATS
from assembler.aligner.events.suspects import pooled, ranked, suspects_of
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.limits import CHANCE_SAMPLES
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import map_with_slips
from assembler.verdict.states import Suspect
from scripts.bench.trial_sessions import ArrayAudio

HOUR = 3600 * 48000
ORIGIN = 1_000_000


def _seen(track: int, start: int, end: int, kind: str = "click", nats: float | None = None) -> FoundFlaw:
    rule = Rule.STREWN if kind == "means" else Rule.FORETOLD
    return FoundFlaw("A1", track, kind, start, end, because=Because(rule, nats))


def test_a_single_lookalike_is_listed_and_a_habit_is_not() -> None:
    """One click on a track may be a flaw; thirty of a kind are how it is played."""
    habit = [_seen(1, 100_000 * at, 100_000 * at + 5) for at in range(1, 31)]
    found = suspects_of("A", [_seen(0, 5_000_000, 5_000_005), *habit], [], HOUR)
    assert [(one.reel, one.tracks, one.odds) for one in found] == [("A", (0,), SINGLE_NATS)]


def test_several_tracks_at_one_moment_say_more_than_one() -> None:
    """Each further track adds how unlikely it is that it shows something just there."""
    alone, both = (
        [_seen(0, 900_000, 900_010)],
        [_seen(1, 2_000_000, 2_000_010), _seen(2, 2_000_001, 2_000_009)],
    )
    first, second = suspects_of("A", [*alone, *both], [], HOUR)
    assert (first.tracks, first.start, first.end) == ((1, 2), 2_000_000, 2_000_010)
    chance = -log(3 * CHANCE_SAMPLES / HOUR)
    assert first.odds == round(SINGLE_NATS + chance, 2)
    assert second.tracks == (0,)


def test_what_is_told_is_no_suspect_and_makes_its_neighbours_likelier() -> None:
    """A flaw is told once; a look-alike beside it is likelier to be one, too."""
    told = [_seen(0, 500_000, 500_100)]
    near, far = _seen(1, 503_000, 503_004), _seen(2, 9_000_000, 9_000_004)
    found = suspects_of("A", [_seen(0, 500_020, 500_030), near, far], told, HOUR)
    assert [(one.tracks, one.odds) for one in found] == [
        ((1,), SINGLE_NATS + NEARBY_NATS),
        ((2,), SINGLE_NATS),
    ]


def test_neighbours_are_one_place_to_listen_to() -> None:
    """Sweep upon sweep of a clogged head is one place, however long, and crowds no other out of the list."""
    sweeps = [
        _seen(track, 2_000_000 + 1440 * at, 2_000_720 + 1440 * at) for at in range(30) for track in (1, 2)
    ]
    first, second = suspects_of("A", [*sweeps, _seen(0, 9_000_000, 9_000_005)], [], HOUR)
    assert (first.start, first.end, first.tracks) == (2_000_000, 2_000_720 + 1440 * 29, (1, 2))
    assert (second.start, second.odds) == (9_000_000, SINGLE_NATS)


def test_the_odds_of_a_place_are_those_for_any_flaw_in_it() -> None:
    """Two chances of one in ten miss both in 81 of a hundred; a sure one among them stays sure."""
    tenth = log(1 / 9)
    members = [Suspect("A", at, at + 5, (at,), "click", tenth) for at in (1, 3)]
    (one,) = pooled(members)
    assert (one.start, one.end, one.tracks, one.odds) == (1, 8, (1, 3), round(log(19 / 81), 2))
    (sure,) = pooled([*members, Suspect("A", 6, 9, (2,), "mute", 40.0)])
    assert sure.kind == "mute"
    assert sure.odds == pytest.approx(40.0, abs=0.3)
    apart = [members[0], Suspect("A", 6 + NEARBY_SAMPLES, 7 + NEARBY_SAMPLES, (1,), "click", tenth)]
    assert pooled(apart) == apart


def test_counted_evidence_stands_for_itself() -> None:
    """A row of means has its own nats, less those by which it was sought among all samples of an hour."""
    (one,) = suspects_of("A", [_seen(3, 7_000, 7_040, "means", 25.0)], [], HOUR)
    assert (one.kind, one.odds) == ("means", 4.0)


def test_no_more_are_kept_than_asked_for_and_the_likeliest_first() -> None:
    """A person listens to the first of the list."""
    found = suspects_of(
        "A", [_seen(t, 1_000_000 * (t + 1), 1_000_000 * (t + 1) + 9) for t in range(6)], [], HOUR
    )
    strong = suspects_of("B", [_seen(0, 50, 90, "means", 30.0)], [], HOUR)
    kept = ranked([*found, *strong], 3)
    assert [one.reel for one in kept] == ["B", "A", "A"]


def test_tracks_that_stop_together_again_and_again_say_less_each_time() -> None:
    """One moment on two tracks is unlikely by chance; what a sequencer plays on both stops on both all along."""
    pairs = [
        _seen(track, 1_000_000 * at, 1_000_000 * at + 700, "mute") for at in range(1, 41) for track in (1, 2)
    ]
    (once,) = suspects_of("A", pairs[:2], [], HOUR)
    often = suspects_of("A", pairs, [], HOUR)
    assert len(often) == 40
    chance = -log(80 * CHANCE_SAMPLES / HOUR)
    assert {one.odds for one in often} == {round(SINGLE_NATS - log(40) + chance - log(40), 2)}
    assert often[0].odds < once.odds


def test_a_silence_that_passes_have_alike_is_listened_to() -> None:
    """Two passes stop alike, and another sound sets in: it may be a rest, and so is told with odds, not as proven."""
    rng = np.random.default_rng(9)
    sound = np.rint(2000 * np.sin(0.05 * np.arange(60_000)) + rng.normal(0, 40, 60_000)).astype(np.int32)
    sound[30_900:] //= 6
    sound[30_000:30_900] = 0
    maps = (map_with_slips(sound.size, ORIGIN, ()),)
    passes = [PlacedPass(name, ArrayAudio(sound[np.newaxis].copy()), maps) for name in ("P1", "P2")]
    with ThreadPoolExecutor(1) as executor:
        findings = compare_reel(passes, [0], 1, 32_767, executor, lambda _: None)
    assert findings.flaws == ()
    places = suspects_of("A", findings.lookalikes, findings.flaws, sound.size)
    assert [(one.start, one.end, one.kind) for one in places] == [(ORIGIN + 30_000, ORIGIN + 30_900, "mute")]


def test_a_flaw_of_one_pass_hides_no_suspect_of_another() -> None:
    """What is told of a pass is told; another pass that looks wrong there is no witness."""
    mute, seen = _seen(0, 900, 5000, "mute"), _seen(0, 1000, 1005)
    others = FoundFlaw("A2", 0, "mute", 900, 5000, because=mute.because)
    near = SINGLE_NATS + NEARBY_NATS
    assert [one.odds for one in suspects_of("A", [seen], [others], HOUR)] == [near]
    assert suspects_of("A", [seen], [mute], HOUR) == []
