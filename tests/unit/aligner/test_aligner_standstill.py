"""What all tracks of a pass show at once: mutes, holds, strewn losses; all tracks lie in the same sweeps of a tape."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.comparison import compare_reel
from assembler.aligner.events.stops.pace import joined_stops
from assembler.aligner.events.stops.standstill import find_stills
from assembler.aligner.events.strewn.losses import Windows
from assembler.aligner.events.strewn.losses import strewn_losses as strewn_in
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.ranges import common, merged, total
from assembler.aligner.records.timemap import map_with_slips
from assembler.aligner.sound.glance import Glance
from scripts.bench.trial_sessions import ArrayAudio

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.events.stops.stop import Still
    from assembler.arrays import Int32s

LENGTH, TRACKS = 24_576, range(6)


def _tracks(seed: int) -> list[Int32s]:
    rng, at = np.random.default_rng(seed), np.arange(LENGTH)
    return [
        np.rint(
            sum(1200 / n * np.sin(0.011 * n * at * (1 + track / 5) + n) for n in range(1, 20))
            + rng.normal(0, 2, LENGTH)
        ).astype(np.int32)
        for track in TRACKS
    ]


def strewn_losses(tracks: list[Int32s], step: int) -> list[tuple[tuple[int, int], float]]:
    """Return what is found in tracks once they are looked at."""
    return strewn_in([Windows(Glance(own, step), step) for own in tracks])


def _stops(*passes: list[Int32s]) -> list[tuple[int, int, int, str]]:
    covered = {index: [(0, LENGTH)] for index in range(len(passes))}
    found = find_stills(dict(enumerate(passes)), covered, 0, list(TRACKS), 1)
    return [(i, s.start, s.end, s.kind) for i, stops in joined_stops(found, {}).items() for s in stops]


def _ramped(tape: list[Int32s]) -> list[Int32s]:
    """Return a tape turned down over 16 samples, silent, and turned up: from sample 9000 up to 9832."""
    ramp = np.concatenate((np.linspace(1, 0, 18)[1:-1], np.zeros(800), np.linspace(0, 1, 18)[1:-1]))
    muted = [own.copy() for own in tape]
    for own in muted:
        own[9000 : 9000 + ramp.size] = np.trunc(own[9000 : 9000 + ramp.size] * ramp)
    return muted


def test_a_ramped_mute_is_one_stop_with_its_ramps() -> None:
    """On all tracks the pass holds nothing there."""
    tape = _tracks(1)
    ((index, start, end, kind),) = _stops(tape, _ramped(tape))
    assert (index, kind) == (1, "mute")
    assert abs(start - 9000) <= 2
    assert abs(end - 9832) <= 2


def test_a_stroke_inside_a_stop_is_missing_though_its_pass_bears_no_witness() -> None:
    """All tracks but one are cut out at once; that one rests, but for a stroke of another pass that is mute itself."""
    first, second = _tracks(1), _tracks(1)
    for own in (*first, *second):
        own[9000:12_000] = 0
    first[2][:] = second[2][:] = 0
    second[2][10_000:10_200] = 4000
    covered = {index: [(0, LENGTH)] for index in range(2)}
    found = find_stills({0: first, 1: second}, covered, 0, list(TRACKS), 1)
    assert [(one.start, one.end, one.witnessed, set(one.tracks)) for one in found[0]] == [
        (9000, 12_000, None, set(TRACKS))
    ]


def test_a_pass_that_begins_beside_a_stop_does_not_move_before_that() -> None:
    """One track is a level throughout; a third pass holds it, too, from just behind the stop on, and nothing before."""
    first, second = _tracks(1), _tracks(1)
    for one in (first, second):
        one[4][:] = -3
    third = [np.where(np.arange(LENGTH) < 12_100, 0, own).astype(np.int32) for own in second]
    for own in first:
        own[9000:12_000] = own[8999]
    covered = {0: [(0, LENGTH)], 1: [(0, LENGTH)], 2: [(12_100, LENGTH)]}
    found = find_stills({0: first, 1: second, 2: third}, covered, 0, list(TRACKS), 1)
    assert [set(one.tracks) for one in found[0]] == [set(TRACKS) - {4}]


def test_ramps_of_two_passes_alike_are_told_by_a_third_one() -> None:
    """Though it is mute between the ramps, too, and has lost every other sample behind them."""
    tape = _tracks(1)
    third = [own.copy() for own in tape]
    for own in third:
        own[9016:9816] = 0
        own[9833:9932:2] = (own[9832:9931:2] + own[9834:9933:2]) // 2
    found = _stops(_ramped(tape), _ramped(tape), third)
    assert [(start, end) for _, start, end, _ in found] == [(9000, 9832), (9000, 9832), (9016, 9816)]


def test_ramps_that_no_other_pass_shows_are_as_long_as_those_that_are_shown() -> None:
    """Where one pass is mute up to where the other one begins to be, its ramp lies beside nothing that sounds."""
    tape = _tracks(1)
    first, second = _ramped(tape), [own.copy() for own in tape]
    for one, other in zip(first, second, strict=True):
        other[9816:10_200] = 0
        one[14_000:14_016] = np.trunc(one[14_000:14_016] * np.linspace(1, 0, 18)[1:-1])
        one[14_016:14_500] = 0
        other[14_500:15_000] = 0
    found = [(index, start, end) for index, start, end, _ in _stops(first, second)]
    assert found == [(0, 9000, 9816), (0, 14_000, 14_500), (1, 9800, 10_200), (1, 14_484, 15_000)]


@pytest.mark.parametrize(("known", "off", "is_told"), [(2, 0, True), (2, 40, False), (1, 0, False)])
def test_a_mute_that_passes_have_alike_is_a_machines_where_it_lies_between_sweeps(
    known: int, off: int, *, is_told: bool
) -> None:
    """Of 720 samples; two mutes that one pass has alone show where they begin. All fade, so that it may be played."""
    tape, ramp = _tracks(1), np.linspace(1, 0, 66)[1:-1]
    tape[5] = np.random.default_rng(7).integers(-1, 2, LENGTH, dtype=np.int32)
    first, second = [own.copy() for own in tape], [own.copy() for own in tape]
    places = [*[(first, 1, 3), (first, 6, 8)][:known], (first, 20, 24), (second, 20, 24)]
    for one, start, end in places:
        low, high = 500 + 720 * start + (off if start == 20 else 0), 500 + 720 * end
        for own in one:
            own[low - 64 : low] = np.trunc(own[low - 64 : low] * ramp)
            own[low:high] = 0
            own[high : high + 64] = np.trunc(own[high : high + 64] * ramp[::-1])
    found = [(index, round((start - 500) / 720)) for index, start, _, _ in _stops(first, second)]
    assert found == [*[(0, 1), (0, 6)][:known], *([(0, 20), (1, 20)] if is_told else [])]


def test_what_another_pass_lost_behind_a_mute_is_no_ramp_of_it() -> None:
    """The pass that was mute is right again at once: means of the other one lie on either side of what it holds."""
    tape = _tracks(1)
    muted, lost = [own.copy() for own in tape], [own.copy() for own in tape]
    for own, other in zip(muted, lost, strict=True):
        own[9000:9800] = 0
        other[9801:9900:2] = (other[9800:9899:2] + other[9802:9901:2]) // 2
    ((index, start, end, kind),) = _stops(lost, muted)
    assert (index, kind) == (1, "mute")
    assert abs(start - 9000) <= 2
    assert abs(end - 9800) <= 2


def test_a_mute_in_which_the_clock_slips_is_one_stop() -> None:
    """Samples that a slip leaves out at its border, which the pass does not hold, take nothing from it."""
    tape = _tracks(1)
    muted = [own.copy() for own in tape]
    for own in muted:
        own[9000:9800] = 0
    covered = {0: [(0, LENGTH)], 1: [(0, 9000), (9002, LENGTH)]}
    found = find_stills({0: tape, 1: muted}, covered, 0, list(TRACKS), 1)
    ((index, stills),) = found.items()
    (stop,) = joined_stops({0: stills}, {})[0]
    assert (index, stop.kind) == (1, "mute")
    assert abs(stop.start - 9000) <= 2
    assert abs(stop.end - 9800) <= 2


def test_what_cuts_all_tracks_out_needs_no_witness_unless_it_comes_as_music_does() -> None:
    """One mute of a lone pass is a stop; a band that stops five times is not; one sweep in two is."""
    for starts, size, count in (
        ([9000], 700, 1),
        (range(2000, 22_000, 4100), 700, 0),
        (range(6000, 14_000, 1600), 800, 5),
    ):
        own = _tracks(2)
        for start in starts:
            for track in own:
                track[start : start + size] = 0
        assert len(_stops(own)) == count


def test_a_pass_that_holds_what_it_can_read_bears_witness_of_mutes() -> None:
    """Alone they come as a band stops; another pass has one sample in twelve there, each held up to the next one."""
    tape = _tracks(2)
    muted, held = [own.copy() for own in tape], [own[np.arange(LENGTH) // 12 * 12] for own in tape]
    for start in range(2000, 22_000, 4100):
        for own in muted:
            own[start : start + 700] = 0
    assert _stops(muted) == []
    assert len([one for one in _stops(muted, held) if one[0] == 0]) == 5


def test_a_soft_track_that_rests_beside_a_stop_hides_only_what_a_band_may_play() -> None:
    """A track of a few steps is zero for a while beside each stop: at the pace of a drum it is a stop all the same."""
    for starts, count in (([9000], 0), (range(6000, 14_000, 1600), 5)):
        own = _tracks(2)
        own[0] = np.random.default_rng(5).integers(-3, 4, LENGTH).astype(np.int32)
        for start in starts:
            own[0][start - 64 : start + 864] = 0
            for track in own[1:]:
                track[start : start + 800] = 0
        assert len(_stops(own)) == count


def test_means_in_sound_that_moves_are_told_though_few_and_rounded_both_ways() -> None:
    """One sample in sixteen is a mean, rounded to even so that no way is preferred; loud noise moves all the time."""
    rng = np.random.default_rng(8)
    tracks = [np.rint(rng.normal(0, 900, 16_384)).astype(np.int32) for _ in range(4)]
    assert strewn_losses(tracks, 1) == []
    for own in tracks:
        at = np.arange(8001, 12_000, 16)
        own[at] = np.rint((own[at - 1] + own[at + 1]) / 2)
    ((start, end),) = [place for place, _ in strewn_losses(tracks, 1)]
    assert abs(start - 8001) <= 512
    assert abs(end - 12_000) <= 512


def test_what_is_not_asked_further_shows_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A first look may only leave out what has no excess at all: soft and loud, sparse and dense, with rests."""
    rng = np.random.default_rng(21)
    asked = []
    for loud in (1.0, 4.0, 40.0, 900.0):
        for every in (0, 4, 12, 40, 80, 130):
            tracks = [np.rint(rng.normal(0, loud, 8192)).astype(np.int32) for _ in range(4)]
            for own in tracks:
                own[1000:1600] = 0
                at = np.arange(3001, 5000, every) if every else np.arange(0)
                own[at] = (own[at - 1] + own[at + 1]) // 2
            asked.append(tracks)
    with monkeypatch.context() as patched:
        patched.setattr("assembler.aligner.events.strewn.losses.may_be_patches", lambda *_: True)
        found = [strewn_losses(tracks, 1) for tracks in asked]
    assert {0, 1} <= {len(places) for places in found}
    assert [strewn_losses(tracks, 1) for tracks in asked] == found


def test_sound_with_steps_of_its_own_has_lost_nothing() -> None:
    """Numbers of ten bits in words of sixteen stand on a mean now and then, and never between two of their steps."""
    rng = np.random.default_rng(9)
    tracks = [(np.rint(rng.normal(0, 6, 16_384)) * 64).astype(np.int32) for _ in range(4)]
    assert strewn_losses(tracks, 1) == []


def test_strewn_losses_are_told_and_clean_sound_is_not() -> None:
    """A third of the samples of a stretch become their neighbours' means; rests and clipped peaks tell nothing."""
    clean, rng = _tracks(3), np.random.default_rng(3)
    assert strewn_losses(clean, 1) == []
    resting = [np.clip(own, -900, 900) for own in clean]
    for own in resting:
        own[4000:9000] = 0
    assert strewn_losses(resting, 1) == []
    for own in clean:
        for at in np.sort(rng.choice(np.arange(10_001, 14_000, 2), 700, replace=False)):
            own[at] = (own[at - 1] + own[at + 1]) // 2
    places = [place for place, _ in strewn_losses(clean, 1)]
    assert 9500 <= places[0][0] <= 10_240
    assert 13_500 <= places[-1][1] <= 14_600


def _turned_down(places: Sequence[tuple[int, int]], ramp: int) -> list[Int32s]:
    """Return tracks, one of them faint noise, that are turned down to silence in each place and up after it."""
    faint = np.random.default_rng(4).integers(-1, 2, LENGTH).astype(np.int32)
    own = [*_tracks(4)[1:], faint]
    gain = np.ones(LENGTH)
    slope = np.arange(ramp, 0, -1) / (ramp + 1)
    for start, end in places:
        gain[start:end], gain[start - ramp : start], gain[end : end + ramp] = 0, slope, slope[::-1]
    return [np.trunc(track * gain).astype(np.int32) for track in own]


def test_mutes_with_ramps_are_a_machines_where_they_come_at_its_drums_pace() -> None:
    """Faint tracks fall silent long before loud ones: one such stop proves nothing, but three sweeps in a row do."""
    sweep, first = 720, 4000
    paced = [(first + at * 2 * sweep, first + at * 2 * sweep + sweep) for at in range(3)]
    on_grid = first + 20 * sweep, first + 23 * sweep
    off_grid = on_grid[0] + 300, on_grid[1] + 300
    assert [len(_stops(_turned_down([one], 64))) for one in (paced[0], on_grid)] == [0, 0]
    assert len(_stops(_turned_down(paced, 64))) == 3
    # Whole sweeps of the same drum are its own, wherever they stand, and what lies across them is not.
    assert len(_stops(_turned_down([*paced, on_grid], 64))) == 4
    assert len(_stops(_turned_down([*paced, off_grid], 64))) == 3


def test_lines_rounded_towards_nought_are_strewn_losses() -> None:
    """Two lost words between good ones become a line, rounded as a division of whole numbers is."""
    tracks, rng = _tracks(5), np.random.default_rng(5)
    assert strewn_losses(tracks, 1) == []
    for own in tracks:
        for at in np.sort(rng.choice(np.arange(10_001, 14_000, 4), 800, replace=False)):
            before, change = int(own[at - 1]), int(own[at + 2]) - int(own[at - 1])
            own[at], own[at + 1] = (before + int(change * part / 3) for part in (1, 2))
    places = [place for place, _ in strewn_losses(tracks, 1)]
    assert 9500 <= places[0][0] <= 10_240
    assert 13_500 <= places[-1][1] <= 14_600


def test_what_many_tracks_hold_by_chance_is_no_evidence() -> None:
    """A hundred clean tracks have more means than six by chance, and as little to tell."""
    shifts = np.random.default_rng(7)
    many = [np.roll(own, shifts.integers(LENGTH)) for seed in range(20, 38) for own in _tracks(seed)]
    assert len(many) > 100
    assert strewn_losses(many, 1) == []


def test_a_mute_up_to_the_end_of_a_pass_is_one_though_its_witness_ended_before() -> None:
    """To the pass's own end; where it sounds again nothing is known of what no other one covers."""
    tape = _tracks(2)
    to_end, inside = [own.copy() for own in tape], [own.copy() for own in tape]
    for own in to_end:
        own[20_000:] = 0
    for own in inside:
        own[20_000:24_000] = 0
    for muted, end in ((to_end, LENGTH), (inside, 22_000)):
        covered = {0: [(0, LENGTH)], 1: [(0, 22_000)]}
        found = find_stills({0: muted, 1: tape}, covered, 0, list(TRACKS), 1)
        assert [(s.start, s.end) for s in joined_stops(found, {}).get(0, [])] == [(20_000, end)]


def test_a_mute_that_fills_a_block_to_the_end_of_its_pass_is_borne_out() -> None:
    """No block shows where it begins and sound of the other pass at once; that goes on to the last but 500 samples."""
    tape = _tracks(2)
    muted = [own.copy() for own in tape]
    for own in muted:
        own[8000:] = 0
    stills: list[Still] = []
    for low, high in ((0, 12_000), (10_000, LENGTH + 1000)):
        held = {
            index: [np.pad(own, (0, 1000))[low:high] for own in one]
            for index, one in enumerate((muted, tape))
        }
        covered = {0: [(low, LENGTH)], 1: [(low, LENGTH - 500)]}
        stills += find_stills(held, covered, low, list(TRACKS), 1)[0]
    assert [(one.start, one.end) for one in joined_stops({0: stills}, {})[0]] == [(8000, LENGTH)]


def test_a_mute_is_told_whichever_blocks_show_it() -> None:
    """Both passes are mute for a while at once, and neither bears witness there; no block shows both ends."""
    tape = _tracks(2)
    first, second = [own.copy() for own in tape], [own.copy() for own in tape]
    for one, other in zip(first, second, strict=True):
        one[8000:18_000] = 0
        other[9000:16_000] = 0
    stills: dict[int, list[Still]] = {0: [], 1: []}
    for low, high in ((0, 12_000), (10_000, 14_000), (13_000, LENGTH)):
        held = {index: [own[low:high] for own in one] for index, one in enumerate((first, second))}
        covered = {index: [(low, high)] for index in held}
        for index, found in find_stills(held, covered, low, list(TRACKS), 1).items():
            stills[index] += found
    ((first_stop,), (second_stop,)) = joined_stops(stills, {}).values()
    assert (first_stop.start, first_stop.end) == (8000, 18_000)
    assert (second_stop.start, second_stop.end) == (9000, 16_000)


def test_losses_are_told_where_the_other_pass_is_noise() -> None:
    """Every third sample is a mean, on all tracks; they differ from noise everywhere, which asks nothing of them."""
    tape = np.stack(_tracks(3))
    at = np.arange(9000, 15_000, 3)
    lossy, noisy = tape.copy(), tape.copy()
    lossy[:, at] = (tape[:, at - 1] + tape[:, at + 1]) >> 1
    noisy[:, 9000:15_000] = np.random.default_rng(4).integers(-9000, 9000, (len(tape), 6000))
    placed = [
        PlacedPass(name, ArrayAudio(own), (map_with_slips(LENGTH, 0, ()),) * len(own))
        for name, own in (("A1", lossy), ("A2", noisy))
    ]
    with ThreadPoolExecutor(1) as executor:
        found = compare_reel(placed, TRACKS, 1, 32_767, executor, lambda _: None)
    means = [(f.start, f.end) for f in found.flaws if f.pass_name == "A1" and f.kind == "means"]
    assert len(means) >= len(TRACKS)
    assert total(merged(means)) > 5000
    assert not found.woven


def test_what_two_passes_lost_alike_is_told_though_a_third_conceals_it_otherwise() -> None:
    """All lost two samples in six; two hold both, the third has a mean in the place of the second: they outvote it."""
    tape = np.stack(_tracks(3)) // 8
    first = np.arange(9000, 15_000, 6)
    held = tape.copy()
    held[:, first] = held[:, first + 1] = tape[:, first - 1]
    other = held.copy()
    other[:, first + 1] = (tape[:, first - 1] + tape[:, first + 2]) >> 1
    placed = [
        PlacedPass(name, ArrayAudio(own), (map_with_slips(LENGTH, 0, ()),) * len(own))
        for name, own in (("A1", held), ("A2", held), ("A3", other))
    ]
    with ThreadPoolExecutor(1) as executor:
        found = compare_reel(placed, TRACKS, 1, 32_767, executor, lambda _: None)
    for name in ("A1", "A2", "A3"):
        lost = [(f.start, f.end) for f in found.flaws if f.pass_name == name and f.track == 0]
        assert total(common(merged(lost), [(9000, 15_000)])) > 5000, name
