"""Concealed samples are told by the published rule that made them, between captures and in one capture alone."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise, product
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.concealment import settle as settling
from assembler.aligner.concealment.limits import LEAST_SURPRISE
from assembler.aligner.concealment.marks import (
    DOWN,
    HELD,
    LINE,
    MEAN,
    THROUGHOUT,
    TOWARDS_ZERO,
    UP,
    UP_TO_MEAN,
    Machine,
    likely_machine,
    marks_of,
    rounded_half,
    tally_machine,
    tally_machines,
)
from assembler.aligner.concealment.reel import Comparison, LostSamples, concealed
from assembler.aligner.concealment.settle import settle
from assembler.aligner.concealment.truth import likeliest, path
from assembler.aligner.concealment.truth.bends import rate_nearby
from assembler.aligner.concealment.truth.path import least_totals
from assembler.aligner.concealment.truth.shares import Counted, shares_of
from assembler.aligner.concealment.truth.window import Window
from assembler.aligner.concealment.weave import weave
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.limits import ROUNDS
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import map_with_slips
from scripts.bench.trial_sessions import ArrayAudio

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.arrays import Bools, Float64s, Int64s

LENGTH = 8192


def _sound(seed: int) -> Int64s:
    """Return a few partials with a converter's noise."""
    rng, at = np.random.default_rng(seed), np.arange(LENGTH)
    partials = (900 / n * np.sin(0.013 * n * at * (1 + seed % 3) + n) for n in range(1, 24))
    return np.asarray(np.rint(sum(partials) + rng.normal(0, 1.5, LENGTH)), np.int64)


def _concealed(tape: Int64s, lost: Bools) -> Int64s:
    """Return what a machine plays: of several lost ones all but the last hold, and the last is a mean, rounded down.

    Source: the three cases of concealment, US patent 4,641,309 (1987).
    """
    out = tape.copy()
    for at in np.flatnonzero(lost):
        out[at] = out[at - 1] if lost[at + 1] else (out[at - 1] + tape[at + 1]) // 2
    return out


def _window(*versions: Int64s) -> Window:
    rows = np.stack(versions)
    return Window(
        [str(number) for number in range(len(rows))],
        rows,
        np.ones(rows.shape, np.bool_),
        1,
        16,
        [Machine((DOWN,))] * len(versions),
    )


def test_halves_are_rounded_one_way() -> None:
    """A mean of 3 and of -3 by each way, in steps of one and of 256 as 16 bits have in files of 24."""
    sums = np.array([3, -3], np.int64)
    found = {way: rounded_half(sums, 1, way).tolist() for way in (DOWN, UP, TOWARDS_ZERO)}
    assert found == {DOWN: [1, -2], UP: [2, -1], TOWARDS_ZERO: [1, -1]}
    assert rounded_half(sums * 256, 256, DOWN).tolist() == [256, -512]


def test_one_lost_sample_is_a_mean_and_of_three_two_hold() -> None:
    """The worked example of the rule: 10 ? 13, and 4 ? ? ? 9."""
    marks = marks_of(np.array([7, 10, 11, 13, 4, 4, 4, 6, 9], np.int64), 1, Machine((DOWN,)))
    assert marks.mean.tolist() == [False, False, True, False, False, True, False, True, False]
    assert marks.held.tolist() == [False, False, False, False, False, True, True, False, False]


@pytest.mark.parametrize("ways", [1 << 19, 6 * 27, 1])
def test_the_cheapest_row_is_the_cheapest_of_all(ways: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows of up to five samples against trying all of their states; all rows at once, some, each by itself."""
    rng = np.random.default_rng(1)
    sizes = np.array([5, 1, 4])
    starts = np.cumsum(sizes) - sizes
    costs, links, bends = rng.random((3, 10)), rng.random((3, 3, 10)), rng.random((3, 3, 3, 10))
    bends[..., starts] = bends[:1, ..., starts]
    bends[..., starts + sizes - 1] = bends[:, :, :1, starts + sizes - 1]
    monkeypatch.setattr(path, "WAYS_AT_ONCE", ways)
    totals = least_totals(costs, links, lambda at: bends[..., at], starts, sizes)
    for start, size in zip(starts.tolist(), sizes.tolist(), strict=True):
        for at, state in product(range(size), range(3)):
            least = min(
                sum(costs[s, start + n] for n, s in enumerate(states))
                + sum(links[a, b, start + n] for n, (a, b) in enumerate(pairwise(states)))
                + sum(
                    bends[*three, start + n]
                    for n, three in enumerate(zip((0, *states), states, (*states[1:], 0), strict=False))
                )
                for states in product(range(3), repeat=size)
                if states[at] == state
            )
            assert totals[state, start + at] == pytest.approx(least)


@pytest.mark.parametrize("seed", range(6))
def test_two_captures_that_lost_other_samples_give_the_tape_back(seed: int) -> None:
    """One lost the odd samples of a patch, the other the even ones and some strewn ones: each is right in one."""
    tape, rng = _sound(seed), np.random.default_rng(seed)
    first, second = np.zeros(LENGTH, np.bool_), np.zeros(LENGTH, np.bool_)
    first[2001:4001:2] = second[3000:5000:2] = True
    strewn = rng.choice(np.arange(5200, 7800), 150, replace=False)
    second[strewn] = True
    (said,) = settle([_window(_concealed(tape, first), _concealed(tape, second))])
    versions = np.stack([_concealed(tape, first), _concealed(tape, second)])
    differs = versions[0] != versions[1]
    assert (said.settled | said.open)[differs].all()
    assert np.count_nonzero(said.open) <= 0.01 * np.count_nonzero(differs)
    taken = versions[said.taken, np.arange(LENGTH)]
    assert np.array_equal(taken[said.settled], tape[said.settled])
    assert not ((said.lost[0] & ~first) | (said.lost[1] & ~second))[said.settled].any()


@pytest.mark.parametrize(("apart", "is_asked"), [(100, True), (2000, False)])
def test_nobody_is_asked_about_a_single_sample(
    apart: int, *, is_asked: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no lead is enough, two samples close together are asked for; one alone is the likelier capture's."""
    monkeypatch.setattr(settling, "DECIDED_NATS", 1e6)
    tape, lost = _sound(1), np.zeros(LENGTH, np.bool_)
    lost[[3001, 3001 + apart]] = True
    (said,) = settle([_window(_concealed(tape, lost), tape)])
    assert said.open[lost].tolist() == [is_asked] * 2
    assert said.settled[lost].tolist() == [not is_asked] * 2
    assert said.taken[lost].tolist() == [1, 1]
    assert said.lost[0][lost].all()


def test_of_what_agrees_no_more_counts_as_lost_than_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """A square wave tells nothing between its edges: whatever was lost there, it makes no share of losses nearby."""
    counted: list[Counted] = []

    def noted(tracks: Sequence[Mapping[tuple[str, str], Counted]]) -> list[dict[tuple[str, str], Float64s]]:
        counted.extend(tracks[1].values())
        return shares_of(tracks)

    monkeypatch.setattr(likeliest, "shares_of", noted)
    square = np.where(np.arange(LENGTH) // 37 % 2 == 0, 5000, -5000)
    lost = np.zeros(LENGTH, np.bool_)
    lost[2001:7001:2] = True
    first, second = ([_concealed(tape, lost), tape] for tape in (_sound(1), square))
    settle([_window(*first), _window(*second)])
    agree = second[0] == second[1]
    assert len(counted) == 2 * ROUNDS
    assert max(float((one.lost - one.seen)[agree].max()) for one in counted) < 1e-6


def test_what_one_capture_holds_where_the_other_has_a_mean_is_in_doubt() -> None:
    """One lost every odd sample, the other pairs of an odd and an even one: that sound stays where it is is rare."""
    rng, odd, pairs = np.random.default_rng(5), np.zeros(LENGTH, np.bool_), np.zeros(LENGTH, np.bool_)
    odd[1001:7001:2] = True
    begins = 1001 + 2 * np.flatnonzero(rng.random(3000) < 0.15)
    pairs[begins] = pairs[begins + 1] = True
    tapes = [_sound(seed) for seed in range(4)]
    played = [(_concealed(tape, odd), _concealed(tape, pairs)) for tape in tapes]
    for tape, (first, second), said in zip(
        tapes, played, settle([_window(*each) for each in played]), strict=True
    ):
        nobodys = (first != tape) & (second != tape) & (first != second)
        assert np.count_nonzero(said.open & nobodys) > 0.6 * np.count_nonzero(nobodys) > 200
        assert np.count_nonzero(said.open & (first != second) & ~nobodys) < 0.06 * np.count_nonzero(
            said.settled
        )


def test_means_by_chance_of_a_pass_that_lost_nothing_are_settled() -> None:
    """Beside one that lost every odd sample: as many look lost as by chance, on all tracks, so that none was."""
    odd = np.zeros(LENGTH, np.bool_)
    odd[1001:7001:2] = True
    windows = [_window(tape, _concealed(tape, odd)) for tape in map(_sound, range(8))]
    # A machine that draws lines makes what lies within a step of a mean, by chance as well.
    machines = [Machine((DOWN,), several=LINE), Machine((DOWN,))]
    said = settle([replace(window, machines=machines) for window in windows])
    differing = sum(np.count_nonzero(window.differing) for window in windows)
    assert sum(np.count_nonzero(one.open) for one in said) < 0.01 * differing
    assert not any((one.settled & (one.taken != 0)).any() for one in said)


def test_what_nobody_has_is_a_flaw_of_all() -> None:
    """Both lost the same samples, three in four; one machine draws lines, the other one holds up to a mean."""
    tapes, lost = [_sound(seed) for seed in range(4)], np.zeros(LENGTH, np.bool_)
    lost[3000:5000] = np.arange(2000) % 4 > 0
    lines = np.flatnonzero(lost)
    comparisons = []
    for track, tape in enumerate(tapes):
        drawn = tape.copy()
        drawn[lines] = np.rint(np.interp(lines, np.flatnonzero(~lost), tape[~lost]))
        passes = [
            PlacedPass(
                name,
                ArrayAudio(np.stack([played] * 4).astype(np.int32)),
                (map_with_slips(LENGTH, 0, ()),) * 4,
            )
            for name, played in (("A1", drawn), ("A2", _concealed(tape, lost)))
        ]
        machines = [Machine((DOWN,), several=LINE), Machine((DOWN,))]
        comparisons.append(Comparison(passes, track, 1, 16, machines, [(3000, 5000)]))
    with ThreadPoolExecutor(1) as executor:
        found = concealed(comparisons, executor, lambda _: None)
    for one in found:
        for name in ("A1", "A2"):
            places = [(flaw.start, flaw.end) for flaw in one.flaws if flaw.pass_name == name]
            assert sum(end - start for start, end in places) > 1000


def test_what_a_weak_pass_lost_of_what_the_other_lost_all_along_is_open() -> None:
    """One lost every odd sample, the other two in five of those: the same means; wherever it kept one they differ."""
    odd, weak = np.zeros(LENGTH, np.bool_), np.zeros(LENGTH, np.bool_)
    odd[1001:7001:2] = True
    weak[1001:7001:2] = (rng := np.random.default_rng(9)).random(3000) < 0.4
    tapes = [_sound(seed) + np.asarray(np.rint(rng.normal(0, 200, LENGTH)), np.int64) for seed in range(4)]
    played = [(_concealed(tape, odd), _concealed(tape, weak)) for tape in tapes]
    for tape, (first, second), said in zip(
        tapes, played, settle([_window(*each) for each in played]), strict=True
    ):
        both = weak & (first == second) & (first != tape)
        assert np.count_nonzero(said.open & both) > 0.9 * np.count_nonzero(both) > 500
        assert np.count_nonzero(said.open & ~weak) < 0.01 * np.count_nonzero(both)


def test_a_burst_is_no_concealment() -> None:
    """Noise thrown into one capture is left to other rules."""
    tape = _sound(1)
    other = tape.copy()
    other[3000:3400] = np.random.default_rng(2).integers(-9000, 9000, 400)
    (said,) = settle([_window(tape, other)])
    assert not (said.settled | said.open).any()


def test_many_means_that_each_say_little_are_a_proof_together() -> None:
    """Sound so low that most samples are means by nature: the pass that has nothing but means lost them."""
    at = np.arange(LENGTH)
    rng = np.random.default_rng(3)
    tape = np.asarray(np.rint(900 * np.sin(0.02 * at) + rng.normal(0, 0.3, LENGTH)), np.int64)
    lost = np.zeros(LENGTH, np.bool_)
    lost[2001:6001:2] = True
    concealed = _concealed(tape, lost)
    (said,) = settle([_window(tape, concealed)])
    differs = tape != concealed
    assert np.mean(said.surprise[1, differs]) < LEAST_SURPRISE
    assert np.mean((said.settled & (said.taken == 0))[differs]) > 0.95


def test_another_flaw_within_lost_samples_hides_none_of_them() -> None:
    """One pass lost every second sample, the other played a block twice meanwhile: only the block is left open."""
    tape = _sound(1)
    lost = np.zeros(LENGTH, np.bool_)
    lost[2001:6001:2] = True
    twice = tape.copy()
    twice[3500:4000] = tape[3000:3500]
    concealed = _concealed(tape, lost)
    (said,) = settle([_window(concealed, twice)])
    outside = (concealed != twice) & np.r_[np.ones(3436), np.zeros(628), np.ones(LENGTH - 4064)].astype(
        np.bool_
    )
    assert (said.settled & (said.taken == 1))[outside].all()
    # At its very end a sample may be the tape's by chance.
    assert np.count_nonzero((said.settled | said.open)[3500:4000]) <= 1


def test_a_level_held_for_long_is_no_concealment_where_sound_runs_straight() -> None:
    """A mute over a slow wave: both are means all along to a machine that draws lines."""
    at = np.arange(LENGTH)
    tape = np.asarray(np.rint(2000 * np.sin(0.02 * at)), np.int64)
    muted = tape.copy()
    muted[3000:4200] = 0
    rows = np.stack([muted, tape, tape])
    line = Machine((DOWN,), several=LINE)
    (said,) = settle([Window("abc", rows, np.ones(rows.shape, np.bool_), 1, 16, [line] * 3)])
    assert not (said.settled | said.open).any()


def test_a_machine_that_holds_is_known_by_what_it_leaves() -> None:
    """Counted over a patch, of one that means and of one that holds."""
    tape, at = _sound(2), np.arange(2001, 4001, 2)
    lost = np.zeros(LENGTH, np.bool_)
    lost[at] = True
    held = tape.copy()
    held[at] = tape[at - 1]
    assert likely_machine(tally_machine(_concealed(tape, lost), at, 1)) == Machine((DOWN,))
    assert likely_machine(tally_machine(held, at, 1)).single == HELD


def test_what_is_held_before_a_mean_is_no_single_loss() -> None:
    """Pairs are lost; of each the mean is the tape's by chance in another capture, or lost there, too, and left out."""
    tape = _sound(2)
    lost = np.zeros(LENGTH, np.bool_)
    lost[2001:6001:4] = lost[2002:6002:4] = True
    first = np.flatnonzero(lost)[::2]
    assert likely_machine(tally_machine(_concealed(tape, lost), first, 1)).single == MEAN


def test_what_a_machine_makes_of_several_lost_samples_is_known_by_what_it_leaves() -> None:
    """Three in a row, again and again: held up to a mean, held throughout, or drawn as a line."""
    tape = _sound(4)
    at = np.flatnonzero((np.arange(LENGTH) % 7 < 3) & (np.arange(LENGTH) >= 49) & (np.arange(LENGTH) < 8001))
    first, held = at[::3], tape.copy()
    for number in range(3):
        held[first + number] = tape[first - 1]
    up_to, line = held.copy(), tape.copy()
    up_to[first + 2] = (tape[first - 1] + tape[first + 3]) // 2
    for number in range(3):
        line[first + number] = np.rint(
            tape[first - 1] + (tape[first + 3] - tape[first - 1]) * (number + 1) / 4
        )
    ways = [likely_machine(tally_machine(samples, at, 1)).several for samples in (up_to, held, line)]
    assert ways == [UP_TO_MEAN, THROUGHOUT, LINE]


def test_a_pass_that_is_not_there_bears_no_witness_of_another_machine() -> None:
    """Where a short pass has ended it holds nothing: its zeros are no samples that it lost."""
    tape = _sound(4)
    at = np.flatnonzero((np.arange(LENGTH) % 7 < 3) & (np.arange(LENGTH) >= 49) & (np.arange(LENGTH) < 8001))
    lost = np.zeros(LENGTH, np.bool_)
    lost[at] = True
    held = tape, _concealed(tape, lost), np.zeros(LENGTH, np.int64)
    everywhere, nowhere = np.ones(LENGTH, np.bool_), np.zeros(LENGTH, np.bool_)
    samples = [own.astype(np.int32) for own in held]
    tallies = tally_machines(samples, [everywhere, everywhere, nowhere], at, 1)
    two = tally_machines(samples[:2], [everywhere, everywhere], at, 1)
    assert tallies[1].tolist() == two[1].tolist()
    assert likely_machine(tallies[1]) == Machine((DOWN,))
    assert not tallies[2].any()


def test_losses_of_a_machine_that_holds_throughout_are_settled() -> None:
    """Single samples are means, several in a row hold the last good one: each pass lost other ones."""
    tape, random = _sound(5), np.random.default_rng(6)
    versions = []
    for _ in range(2):
        own = tape.copy()
        for start in range(40 + int(random.integers(0, 9)), LENGTH - 40, 20):
            size = int(random.integers(1, 4))
            own[start : start + size] = tape[start - 1]
            if size == 1:
                own[start] = (tape[start - 1] + tape[start + 1]) // 2
        versions.append(own)
    rows = np.stack(versions)
    machines = [Machine((DOWN,), several=THROUGHOUT)] * 2
    window = Window("ab", rows, np.ones(rows.shape, np.bool_), 1, 16, machines)
    (said,), differs = settle([window]), rows[0] != rows[1]
    curable = differs & ((rows[0] == tape) | (rows[1] == tape))
    taken = rows[said.taken, np.arange(LENGTH)]
    assert np.count_nonzero(said.settled & curable) >= 0.95 * np.count_nonzero(curable)
    assert np.array_equal(taken[said.settled & curable], tape[said.settled & curable])


def test_what_is_held_may_begin_with_the_tapes_own_sample_by_chance() -> None:
    """A machine holds two lost samples, of which the first is like the last good one; the other lost that one."""
    tape = _sound(5)
    at = np.arange(40, LENGTH - 40, 20)
    tape[at] = tape[at - 1]
    first, second = tape.copy(), tape.copy()
    first[at] = (tape[at - 1] + tape[at + 1]) >> 1
    second[at + 1] = tape[at]
    rows = np.stack([first, second])
    machines = [Machine((DOWN,), several=THROUGHOUT)] * 2
    (said,) = settle([Window("ab", rows, np.ones(rows.shape, np.bool_), 1, 16, machines)])
    differs = rows[0] != rows[1]
    taken = rows[said.taken, np.arange(LENGTH)]
    assert np.count_nonzero(said.settled & differs) > np.count_nonzero(differs) / 2
    assert np.array_equal(taken[said.settled], tape[said.settled])
    assert np.count_nonzero(taken[differs] != tape[differs]) < 0.02 * np.count_nonzero(differs)


@pytest.mark.parametrize("seed", [0, 3])
def test_what_one_of_two_lost_is_not_held_against_the_other(seed: int) -> None:
    """Two captures of three lost some; where the third agrees with one, both may have lost the same: it lost none."""
    random = np.random.default_rng(seed)
    tapes, windows = [_sound(number) // 2 for number in range(8)], []
    for tape in tapes:
        lost = random.random((2, LENGTH)) < 0.3
        lost[:, :50] = lost[:, -50:] = False
        windows.append(_window(_concealed(tape, lost[0]), tape, _concealed(tape, lost[1])))
    for said, window, tape in zip(settle(windows), windows, tapes, strict=True):
        assert not said.open.any()
        taken = window.versions[said.taken, np.arange(LENGTH)]
        assert np.array_equal(taken[said.settled], tape[said.settled])


def test_where_nothing_is_known_nearby_sound_is_as_anywhere() -> None:
    """In the midst of a long difference nothing tells what sound does by chance but what lies on both sides of it."""
    marked = np.arange(6000) < 1000
    rates = rate_nearby(marked, marked | (np.arange(6000) < 1250))
    assert rates[5000] == pytest.approx(0.8, abs=0.01)
    assert rates[100] > 0.99


def test_one_odd_sample_is_no_reason_against_thousands_of_the_other_capture() -> None:
    """A head lost every second sample of one capture; the other one is the tape's but for a wrong word."""
    tape = _sound(7)
    lost = np.zeros(LENGTH, np.bool_)
    lost[1001:7001:2] = True
    odd = tape.copy()
    odd[4000] += 5000
    versions = np.stack([odd, _concealed(tape, lost)])
    (said,), differs = settle([_window(*versions)]), versions[1] != tape
    assert np.count_nonzero(said.settled & differs) >= 0.99 * np.count_nonzero(differs)
    assert np.array_equal(versions[said.taken, np.arange(LENGTH)][said.settled], tape[said.settled])


def test_the_edge_of_a_square_wave_is_sound_and_a_mean_between_its_levels_a_loss() -> None:
    """No bend foretells an edge, and in a wave that stays where it is a held level says nothing."""
    tape = np.where(np.arange(6_000) // 106 % 2, 27_681, -27_681).astype(np.int64)
    other = tape.copy()
    edges = np.flatnonzero(np.diff(tape))[10:40:7] + 1
    other[edges] = 0
    (said,) = settle([_window(tape, other)])
    assert said.settled[edges].all()
    assert (said.taken[edges] == 0).all()


def _counted(*lost: Bools) -> list[dict[tuple[str, str], Counted]]:
    """Return what is counted of a pass "A" on several tracks that tell all."""
    none = np.zeros(LENGTH // 2)
    return [{("A", "A"): Counted(one, none + 1.0, one)} for one in (own.astype(np.float64) for own in lost)]


def test_losses_are_counted_on_all_tracks_whose_parities_are_matched() -> None:
    """Of one track the odd samples are lost, of another the even ones: each is told by the other, at the right ones."""
    odd, even, nothing = (np.zeros(4096, np.bool_) for _ in range(3))
    odd[1001:3000:2], even[1000:2999:2] = True, True
    first, second = (one["A", "A"] for one in shares_of(_counted(odd, even)))
    for share, lost, kept in ((first, odd, even), (second, even, odd)):
        assert share[lost].min() > 0.9
        assert share[kept].max() < 0.05
    halved, other = (one["A", "A"] for one in shares_of(_counted(odd, nothing)))
    assert np.array_equal(halved, other)
    assert 0.4 < halved[1501] < 0.6


def test_a_soft_track_is_settled_by_what_a_loud_one_lost() -> None:
    """Most of its samples are means by nature, so that alone it says little. All tracks lie in the same sweeps."""
    rng = np.random.default_rng(7)
    soft = np.asarray(np.rint(rng.normal(0, 0.8, LENGTH)), np.int64)
    first, second = _strewn(rng, 0.9), _strewn(rng, 0.2)
    windows = [_window(*(_concealed(tape, own) for own in (first, second))) for tape in (_sound(2), soft)]
    versions, differs = windows[1].versions, windows[1].differing
    wrong = []
    for said in (settle(windows[1:])[0], settle(windows)[1]):
        taken = np.where(said.settled & differs, versions[said.taken, np.arange(LENGTH)], soft)
        wrong.append(np.count_nonzero(taken != soft))
    assert wrong[1] < 0.5 * wrong[0], wrong


def test_what_two_captures_lost_alike_is_open_between_what_they_lost_apart() -> None:
    """Both lost many odd samples of a patch, each its own ones: a few of those that agree tell that nobody has them."""
    tape, rng = _sound(4), np.random.default_rng(8)
    first, second = _strewn(rng, 0.8), _strewn(rng, 0.5)
    (said,) = settle([_window(_concealed(tape, first), _concealed(tape, second))])
    alike = first & second & (_concealed(tape, first) != tape)
    assert np.mean(said.open[alike]) > 0.03
    assert said.lost[:, alike & said.open].all()
    assert np.mean(said.open[~first & ~second]) < 0.003


def _square() -> Int64s:
    """Return a wave that holds each of two levels for fifty samples."""
    return np.where(np.arange(LENGTH) // 50 % 2, 3471, -3471).astype(np.int64)


def test_a_lost_edge_of_a_slow_square_wave_is_told_by_what_other_tracks_lost_there() -> None:
    """The level it holds on is the wave's own for longer than losses last, and says nothing by itself."""
    lost = np.zeros(LENGTH, np.bool_)
    lost[3990:4014] = np.arange(24) % 3 != 0
    wave, sounds = _square(), [_sound(1), _sound(2)]
    edge = 4000
    track = _window(_concealed(wave, lost), wave)
    others = [_window(_concealed(tape, lost), tape) for tape in sounds]
    assert track.differing[edge]
    (alone,) = settle([track])
    assert not alone.settled[edge]
    said = settle([track, *others])[0]
    differing = np.flatnonzero(track.differing)
    assert said.settled[differing].all()
    assert (said.taken[differing] == 1).all()
    # What other tracks have lost elsewhere says nothing here.
    elsewhere = [_window(_concealed(tape, np.roll(lost, 1500)), tape) for tape in sounds]
    assert not settle([track, *elsewhere])[0].settled[edge]


def test_a_third_pass_that_holds_a_level_hides_no_losses_of_the_second() -> None:
    """The level is a flaw for other rules; between the other two captures the truth is told."""
    tape = _sound(3)
    lost = np.zeros(LENGTH, np.bool_)
    lost[4000:4300:3] = True
    held = tape.copy()
    held[3900:4400] = held[3899]
    (said,) = settle([_window(tape, _concealed(tape, lost), held)])
    at = np.flatnonzero(lost & (_concealed(tape, lost) != tape) & (tape != held))
    assert said.settled[at].mean() > 0.95
    assert (said.taken[at[said.settled[at]]] == 0).all()


def _strewn(rng: np.random.Generator, share: float) -> Bools:
    """Return such a share of the odd samples of a patch."""
    lost = np.zeros(LENGTH, np.bool_)
    lost[2001:6001:2] = rng.random(2000) < share
    return lost


@pytest.mark.parametrize("third", [False, True])
def test_two_passes_are_woven_whatever_a_third_one_holds_elsewhere(*, third: bool) -> None:
    """Each lost other samples of a patch; a short retake, begun in the middle of it, has lost what the first has."""
    tape = np.asarray(_sound(1), np.int32)
    names = ["A1", "A2", "A3"][: 2 + third]
    passes = [
        PlacedPass(name, ArrayAudio(tape[None]), (map_with_slips(LENGTH - start, start, ()),))
        for name, start in zip(names, (0, 0, 4000), strict=False)
    ]
    odd, even = np.zeros(LENGTH, np.bool_), np.zeros(LENGTH, np.bool_)
    odd[3001:5000:2], even[3000:4999:2] = True, True
    comparison = Comparison(passes, 0, 1, 16, [Machine()] * len(names), [(3000, 5000)])
    masks = np.stack([odd, even, odd])[: len(names)]
    lost = [LostSamples((0, LENGTH), np.packbits(masks, axis=1))]
    because = Because(Rule.CONCEALED, 40.0)
    flaws = [FoundFlaw(name, 0, "means", 3000, 5000, because=because) for name in names]
    woven = weave(comparison, lost, flaws)
    assert sum(one.end - one.start for one in woven) == 2000
    assert {tuple(own.pass_name for own in one.lost) for one in woven} == (
        {("A1", "A2"), ("A1", "A2", "A3")} if third else {("A1", "A2")}
    )


def test_of_losses_that_nobody_can_place_nothing_is_woven() -> None:
    """A pass shows by all its tracks that it lost samples, though not which, and the other one is muted there."""
    tape = np.asarray(_sound(1), np.int32)
    passes = [
        PlacedPass(name, ArrayAudio(tape[None]), (map_with_slips(LENGTH, 0, ()),)) for name in ("A1", "A2")
    ]
    comparison = Comparison(passes, 0, 1, 16, [Machine()] * 2, [(3000, 5000)])
    lost = [LostSamples((0, LENGTH), np.packbits(np.zeros((2, LENGTH), np.bool_), axis=1))]
    flaws = [
        FoundFlaw("A1", 0, "means", 3000, 5000, because=Because(Rule.STREWN, 40.0)),
        FoundFlaw("A2", 0, "mute", 2900, 5100, because=Because(Rule.STANDSTILL)),
    ]
    assert weave(comparison, lost, flaws) == []
