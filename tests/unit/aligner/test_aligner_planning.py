"""Plans of one track, worked by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from assembler.aligner.plan.path.cheapest import plan_track
from assembler.aligner.plan.path.choices import Candidate, Choice, Forced, PlanRules, candidate_of
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, ReelFindings

ALIKE = PlanRules(480, {"one": 0, "two": 0})
UNLIKE = PlanRules(480)
END = 100_000
BECAUSE = Because(Rule.STORY, 50.0)


def _whole(name: str, *flawed: tuple[int, int]) -> Candidate:
    return Candidate(name, ((0, END),), flawed)


def test_between_equals_the_earlier_pass_is_used() -> None:
    """Without flaws the whole track comes from the most trusted pass."""
    plan = plan_track([_whole("one"), _whole("two")], ALIKE, 0, END)
    assert plan.choices == (Choice(0, END, "one"),)
    assert plan.joins == ()


def test_a_flaw_is_avoided_with_room_before_and_behind() -> None:
    """The retake is taken from 5 ms before the flaw to 5 ms behind it, where both sides are the same."""
    plan = plan_track([_whole("one", (40_000, 41_000)), _whole("two")], ALIKE, 0, END)
    assert [choice.name for choice in plan.choices] == ["one", "two", "one"]
    assert [join.at for join in plan.joins] == [39_760, 41_240]
    for join in plan.joins:
        assert not join.room[0] < 41_000 <= join.room[1] - 1 < 40_000
        low = join.at - join.fade // 2
        assert low + join.fade <= 40_000 or low >= 41_000


def test_a_join_without_a_fade_keeps_its_distance() -> None:
    """Identical sides are joined 5 ms clear of the flaw even where no fade is wished."""
    rules = PlanRules(0, ALIKE.alike)
    plan = plan_track([_whole("one", (40_000, 41_000)), _whole("two")], rules, 0, END)
    assert [(join.at, join.fade) for join in plan.joins] == [(39_760, 0), (41_240, 0)]


def test_flaws_that_stand_close_are_avoided_in_one_go() -> None:
    """Between two flaws a quarter of a second apart the first pass is not taken up again."""
    plan = plan_track([_whole("one", (40_000, 41_000), (50_000, 50_100)), _whole("two")], ALIKE, 0, END)
    assert [choice.name for choice in plan.choices] == ["one", "two", "one"]


def test_passes_that_pass_each_other_a_flaw_are_joined_between() -> None:
    """Where one pass's flaw begins as the other's ends, both are avoided: the cut lies on the border itself."""
    plan = plan_track([_whole("one", (40_000, 41_000)), _whole("two", (39_000, 40_000))], ALIKE, 0, END)
    assert [choice.name for choice in plan.choices] == ["one", "two", "one"]
    assert plan.joins[0].at == 40_000
    assert plan.joins[0].fade == 0


def test_what_no_pass_has_right_stays_with_the_trusted_one() -> None:
    """A flaw in both is no reason to change."""
    plan = plan_track([_whole("one", (40_000, 41_000)), _whole("two", (39_000, 42_000))], ALIKE, 0, END)
    assert plan.choices == (Choice(0, END, "one"),)


def test_sound_beside_its_place_is_better_than_none() -> None:
    """Where one pass is flawed and of the other only a slip's place is in doubt, the other one is taken."""
    doubted = Candidate("two", ((0, END),), ((40_000, 41_000),), ((40_000, 41_000),))
    plan = plan_track([_whole("one", (40_000, 41_000)), doubted], ALIKE, 0, END)
    assert [choice.name for choice in plan.choices] == ["one", "two", "one"]
    assert plan_track([_whole("one"), doubted], ALIKE, 0, END).choices == (Choice(0, END, "one"),)


def test_a_pass_that_lost_samples_here_and_there_is_taken_before_a_muted_one() -> None:
    """Between means stand the tape's own samples; where another flaw lies over them, or in a mute, none do."""
    flaws = [
        FoundFlaw("one", 0, "mute", 40_000, 42_000, because=BECAUSE),
        FoundFlaw("two", 0, "means", 30_000, 50_000, because=BECAUSE),
        FoundFlaw("two", 0, "burst", 41_000, 42_000, because=BECAUSE),
    ]
    one, two = (_candidate(name, flaws) for name in ("one", "two"))
    assert (one.in_part, two.in_part) == ((), ((30_000, 41_000), (42_000, 50_000)))
    plan = plan_track([one, two], ALIKE, 0, END)
    assert [choice.name for choice in plan.choices if choice.start <= 40_500 < choice.end] == ["two"]


def _candidate(name: str, flaws: list[FoundFlaw]) -> Candidate:
    """Return what a pass that runs from end to end offers; nothing is woven, and both passes are alike."""
    one = SimpleNamespace(
        name=name,
        maps=[SimpleNamespace(doubts=lambda: ())],
        covered=lambda _: [(0, END)],
    )
    findings = ReelFindings(tuple(flaws))
    reel = SimpleNamespace(name="A", passes=[one], findings=findings)
    sheet = SimpleNamespace(repair=SimpleNamespace(scope="track", unlike="cure"))
    track = SimpleNamespace(tape_tracks={"A": 0})
    weaving = SimpleNamespace(unwoven=lambda _name, _track, place: [place])
    made: Any = candidate_of
    found: Candidate = made(sheet, reel, one, track, weaving)
    return found


def test_what_no_pass_covers_is_silence() -> None:
    """Silence stands before, between and behind what is covered."""
    one = Candidate("one", ((100, 200),))
    two = Candidate("two", ((300, 400),))
    plan = plan_track([one, two], ALIKE, 0, 500)
    assert plan.choices == (
        Choice(0, 100, None),
        Choice(100, 200, "one"),
        Choice(200, 300, None),
        Choice(300, 400, "two"),
        Choice(400, 500, None),
    )


def test_a_punch_wins_over_flaws_and_trust() -> None:
    """A punched stretch comes whole from its pass, flawed or not; its fades lie outside it."""
    rules = PlanRules(480, {}, (Forced(60_000, 61_000, "two", 960),))
    plan = plan_track([_whole("one"), _whole("two", (60_200, 60_300))], rules, 0, END)
    assert [choice.name for choice in plan.choices] == ["one", "two", "one"]
    start, end = plan.joins
    assert start.at - start.fade // 2 + start.fade <= 60_000
    assert end.at - end.fade // 2 >= 61_000
    assert (start.fade, end.fade) == (960, 960)


def test_of_punches_that_overlap_the_later_one_wins() -> None:
    """The sheet's order decides."""
    rules = PlanRules(0, {}, (Forced(10_000, 30_000, "two", 0), Forced(20_000, 40_000, "three", 0)))
    plan = plan_track([_whole("one"), _whole("two"), _whole("three")], rules, 0, END)
    assert [(choice.start, choice.name) for choice in plan.choices] == [
        (0, "one"),
        (10_000, "two"),
        (20_000, "three"),
        (40_000, "one"),
    ]


def test_flaws_are_let_stand_where_only_punches_are_wanted() -> None:
    """In the mode of listed repairs no flaw makes a change."""
    plan = plan_track(
        [_whole("one", (40_000, 41_000)), _whole("two")], PlanRules(480, heed_flaws=False), 0, END
    )
    assert plan.choices == (Choice(0, END, "one"),)


def test_fades_of_sides_that_differ_keep_clear_of_flaws() -> None:
    """Where passes are not alike the fade has its whole length beside the flaw."""
    end = 10_000_000
    passes = [Candidate(name, ((0, end),), ()) for name in ("one", "two")]
    passes[0] = Candidate("one", ((0, end),), ((5_000_000, 5_001_000),))
    plan = plan_track(passes, UNLIKE, 0, end)
    first, second = plan.joins
    assert (first.at, first.fade) == (4_999_760, 480)
    assert (second.at, second.fade) == (5_001_240, 480)
