"""Losses that are proved by all of a patch, levels too short for a standstill, and what a lone pass captured twice."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.comparison import compare_reel
from assembler.aligner.events.stops.pace import joined_stops
from assembler.aligner.events.stops.standstill import find_stills
from assembler.aligner.events.strewn.losses import Windows, strewn_losses
from assembler.aligner.events.strewn.patches import rises
from assembler.aligner.place.slips.doubled import doubled_slips
from assembler.aligner.records.limits import MOST_GAP_SAMPLES, SEARCHED_NATS, WINDOW_SAMPLES
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.ranges import common, merged, total
from assembler.aligner.records.timemap import Slip, map_with_slips
from assembler.aligner.sound.copies import Copy, standing_twice
from assembler.aligner.sound.glance import Glance
from scripts.bench.trial_sessions import ArrayAudio, make_tape

if TYPE_CHECKING:
    from assembler.arrays import Int32s

ORIGIN, SIZE, AT = 1_000_000, 120_000, 60_000


def _tape(seed: int, size: int = SIZE) -> Int32s:
    """Return eight tracks of soft sound, shape (8, size)."""
    rng, at = np.random.default_rng(seed), np.arange(size)
    rows = [
        sum(900 / n * np.sin(0.013 * n * at * (1 + t / 7) + n) for n in range(1, 15))
        + rng.normal(0, 40, size)
        for t in range(8)
    ]
    return np.rint(rows).astype(np.int32)


def _lose(tape: Int32s, start: int, end: int, share: float, seed: int) -> Int32s:
    """Return tracks of which a share of the samples of a stretch were made into means, rounded down."""
    made, rng = tape.copy(), np.random.default_rng(seed)
    for own in made:
        at = np.sort(rng.choice(np.arange(start + 1, end, 2), round(share * (end - start)), replace=False))
        own[at] = (own[at - 1] + own[at + 1]) >> 1
    return made


def _means(*passes: Int32s) -> dict[tuple[str, int], list[tuple[int, int]]]:
    """Return where each track of each pass is told to have lost samples, from its own first sample on."""
    placed = [
        PlacedPass(f"P{n}", ArrayAudio(one.copy()), (map_with_slips(one.shape[1], ORIGIN, ()),) * len(one))
        for n, one in enumerate(passes)
    ]
    with ThreadPoolExecutor(1) as executor:
        found = compare_reel(placed, range(len(passes[0])), 1, 32_767, executor, lambda _: None)
    told: dict[tuple[str, int], list[tuple[int, int]]] = {}
    for flaw in found.flaws:
        if flaw.kind == "means":
            told.setdefault((flaw.pass_name, flaw.track), []).append((flaw.start - ORIGIN, flaw.end - ORIGIN))
    return told


@pytest.mark.parametrize("count", [1, 2])
def test_a_patch_too_thin_for_any_window_is_told_on_all_tracks(count: int) -> None:
    """Some means in thirty samples prove nothing window by window; of passes that have them alike each lost them."""
    clean = _tape(11)
    hurt = _lose(clean, AT, 66_000, 0.035, 12)
    assert _means(*[clean] * count) == {}
    told = _means(*[hurt] * count)
    assert sorted(told) == [(f"P{n}", track) for n in range(count) for track in range(8)]
    assert all(AT - 1000 < start < end < 67_000 for own in told.values() for start, end in own)


def test_a_patch_longer_than_half_of_what_is_read_at_once_is_told() -> None:
    """What most of a block has is not what its sound has by nature."""
    told = _means(_lose(_tape(13, 300_000), 40_000, 260_000, 0.04, 14))
    assert sorted(track for _, track in told) == list(range(8))
    assert min(total(merged(own)) for own in told.values()) > 200_000


def test_losses_up_to_the_end_of_a_pass_are_told_to_its_end() -> None:
    """A pass that breaks off amid losses lost its last samples, too."""
    told = _means(_lose(_tape(15), AT, SIZE - 2, 0.2, 16))
    assert all(own[-1][1] == SIZE for own in told.values())
    assert len(told) == 8


def test_few_tracks_with_steps_of_their_own_prove_no_patch() -> None:
    """Three of eight tracks move by sixteen steps at a time, for two seconds: an old sampler plays on them."""
    tape = _tape(17)
    tape[:3, 20_000:] = tape[:3, 20_000:] // 16 * 16
    assert _means(tape) == {}


@pytest.mark.parametrize(("count", "is_told"), [(6, False), (7, True)])
def test_a_patch_is_told_where_most_tracks_show_it(count: int, *, is_told: bool) -> None:
    """Samplers that play at half their pace put a mean between every two samples, on some tracks."""
    tape = _tape(23)
    tape[:count, 40_000:] = _lose(tape[:count, 40_000:], 0, SIZE - 40_002, 0.3, 24)
    assert bool(_means(tape)) is is_told


@pytest.mark.parametrize("seed", range(20))
def test_a_rise_is_the_largest_sum_of_any_stretch(seed: int) -> None:
    """J. Bentley, Programming Pearls, column 8: all stretches tried one by one have none that is larger."""
    gains = np.random.default_rng(seed).normal(-0.4, 0.1, 60)
    start, size = seed + 5, seed + 8
    gains[start : start + size] += np.random.default_rng(seed + 99).uniform(1.0, 4.0, size)
    stretches = [(first, last) for first in range(60) for last in range(first + 1, 61)]
    best = max(stretches, key=lambda one: gains[slice(*one)].sum())
    assert rises(gains, SEARCHED_NATS / 3) == [best]
    assert rises(gains, gains[slice(*best)].sum() + 1.0) == []


def _windows(tracks: Int32s) -> list[Windows]:
    return [Windows(Glance(own, 1), 1) for own in tracks]


@pytest.mark.parametrize("is_line", [False, True])
def test_runs_too_short_for_a_standstill_are_told_and_those_of_an_instrument_are_not(
    *, is_line: bool
) -> None:
    """Of ten samples a machine keeps two; what plays at a tenth of the rate goes from run to run, as squares do."""
    tape = _tape(18, 32_768)
    held, slow = tape.copy(), tape[:, np.arange(32_768) // 10 * 10]
    for track, own in enumerate(held):
        at = np.arange(16_000 + track, 20_000)
        good = np.flatnonzero(np.arange(32_768) % 10 < 2)
        if is_line:
            own[at] = np.rint(np.interp(at, good, own[good]))
            slow[track] = np.rint(np.interp(np.arange(32_768), good[::2], tape[track, good[::2]]))
        else:
            own[at] = own[at // 10 * 10 + np.minimum(at % 10, 1)]
    (place,) = merged((one for one, _ in strewn_losses(_windows(held))), bridge=MOST_GAP_SAMPLES)
    assert max(abs(place[0] - 16_000), abs(place[1] - 20_000)) <= 3 * WINDOW_SAMPLES
    squares = np.where(np.arange(32_768) // 12 % 2, 900, -900) * np.ones((8, 1), np.int32)
    for natural in (slow, squares.astype(np.int32)):
        assert strewn_losses(_windows(natural)) == []
        for before in (np.zeros_like(tape), tape):
            natural[:, :24_000] = before[:, :24_000]
            assert strewn_losses(_windows(natural)) == []


@pytest.mark.parametrize("smoothed", [1, 3, 6])
@pytest.mark.parametrize("wave", ["saw", "triangle", "square"])
def test_waves_of_straight_lines_for_a_while_are_no_losses(wave: str, smoothed: int) -> None:
    """Of several pitches, on all tracks at once: each comes back to its slopes and levels; a machine's all differ."""
    tape = _tape(18, 65_536)
    at = np.arange(20_000)
    for track, own in enumerate(tape):
        phase = at / (90 + 23 * track) % 1
        shape = {"saw": 2 * phase - 1, "triangle": 4 * abs(phase - 0.5) - 1, "square": np.sign(phase - 0.4)}[
            wave
        ]
        own[30_000:50_000] = np.rint(np.convolve(9000 * shape, np.ones(smoothed) / smoothed, "same"))
    assert strewn_losses(_windows(tape)) == []


def _stops(*passes: Int32s) -> list[tuple[int, int, int]]:
    covered = {index: [(0, passes[0].shape[1])] for index in range(len(passes))}
    held = {index: list(one) for index, one in enumerate(passes)}
    found = joined_stops(find_stills(held, covered, 0, range(8), 1), {})
    return [(index, one.start, one.end) for index, stops in found.items() for one in stops]


def test_what_one_pass_proves_a_mute_is_one_of_a_pass_that_fades_there() -> None:
    """Both are silent between the same samples; a soft track by itself fades too long for that to be a machine's."""
    tape = _tape(19, 32_768)
    tape[7] = np.random.default_rng(20).integers(-1, 2, 32_768)
    cut, faded = tape.copy(), tape.copy()
    ramp = np.linspace(1, 0, 120)
    for one in (cut, faded):
        one[:, 16_000:17_500] = 0
    faded[:, 15_880:16_000] = np.rint(faded[:, 15_880:16_000] * ramp)
    faded[:, 17_500:17_620] = np.rint(faded[:, 17_500:17_620] * ramp[::-1])
    assert [one[0] for one in _stops(cut, faded)] == [0, 1]
    assert _stops(faded, faded) == []
    # What cuts off more of a rest, ramps and all, says nothing of a pass that has them.
    shorter = faded.copy()
    shorter[:, 15_880:17_620] = 0
    assert [one[0] for one in _stops(faded, shorter)] == [1]


def test_a_mute_that_may_be_played_hides_no_difference_beside_it() -> None:
    """Both passes rest alike five times; where one is mute and the other holds nearly all it reads they differ."""
    tape = _tape(25)
    for at in range(10_000, 60_000, 10_000):
        tape[:, at : at + 1500] = 0
    mute, held = tape.copy(), tape.copy()
    mute[:, 80_000:90_000] = 0
    held[:, 78_000:92_000] = tape[:, 78_000 + np.arange(14_000) // 40 * 40]
    placed = [
        PlacedPass(f"P{n}", ArrayAudio(one), (map_with_slips(SIZE, ORIGIN, ()),) * 8)
        for n, one in enumerate((mute, held))
    ]
    with ThreadPoolExecutor(1) as executor:
        found = compare_reel(placed, range(8), 1, 32_767, executor, lambda _: None)
    for track in range(8):
        told = [(one.start, one.end) for one in found.flaws if one.track == track]
        told += [(one.start, one.end) for one in found.undecided if one.track == track]
        inside = common(merged(told), [(ORIGIN + 80_000, ORIGIN + 90_000)])
        assert total(inside) > 9000, track


@pytest.mark.parametrize("seed", range(4))
def test_hiss_that_stands_still_by_chance_is_no_mute(seed: int) -> None:
    """Three tracks whose noise is mostly rounded to nothing rest at once now and then, for some forty samples."""
    hiss = np.zeros((8, 480_000), np.int32)
    hiss[:3] = np.rint(np.random.default_rng(seed).normal(0, 0.3, (3, 480_000)))
    assert _stops(hiss) == []


def test_a_lone_mute_is_told_though_the_machine_holds_nearly_all_behind_it() -> None:
    """Six of seven samples stay where they are there; that is sound all the same."""
    tape = _tape(21, 32_768)
    tape[:, 17_500:20_000] = tape[:, 17_500 + np.arange(2500) // 7 * 7]
    tape[:, 16_000:17_500] = 0
    assert _stops(tape) == [(0, 16_000, 17_500)]


MUSIC = make_tape("dense", 16, SIZE, np.random.default_rng(71))


@pytest.mark.parametrize("size", [64, 100, 512, 2048, 4096])
def test_what_a_lone_pass_captured_twice_is_found_to_the_sample(size: int) -> None:
    """Sound runs into the first of two copies and out of the second: as much is left out there."""
    twice = np.concatenate((MUSIC[:, :AT], MUSIC[:, AT - size : AT], MUSIC[:, AT:]), axis=1)
    assert doubled_slips(ArrayAudio(twice), []) == [Slip(AT, -size)]
    assert doubled_slips(ArrayAudio(twice), [(AT - 20_000, AT + 20_000)]) == []
    assert doubled_slips(ArrayAudio(MUSIC), []) == []


@pytest.mark.parametrize("behind", ["mute", "hold", "end"])
def test_what_was_written_before_a_mute_or_an_end_is_no_slip(behind: str) -> None:
    """Nothing tells there whether the sound goes on behind it."""
    written = MUSIC.copy()
    written[:, AT : AT + 1024] = MUSIC[:, AT - 1024 : AT]
    written[:, AT + 1024 : AT + 4000] = 0 if behind == "mute" else written[:, AT + 1023 : AT + 1024]
    if behind == "end":
        written = written[:, : AT + 1024]
    assert doubled_slips(ArrayAudio(written), []) == []


def test_what_few_tracks_play_twice_or_what_comes_again_and_again_is_no_slip() -> None:
    """A stutter on two tracks, or on one and its copies; a sampler that stretches time by playing each grain twice."""
    twice = np.concatenate((MUSIC[:, :AT], MUSIC[:, AT - 1000 : AT], MUSIC[:, AT:]), axis=1)
    few, copies = np.zeros_like(twice), np.tile(twice[3], (8, 1))
    few[:2] = twice[:2]
    grains = [MUSIC[:, at : at + 2048] for at in range(40_000, 60_000, 2048) for _ in range(2)]
    stretched = np.concatenate((MUSIC[:, :40_000], *grains, MUSIC[:, 60_480:]), axis=1)
    for played in (few, copies, stretched):
        assert doubled_slips(ArrayAudio(played), []) == []


@pytest.mark.parametrize("size", [64, 512, 4096])
def test_what_was_written_in_the_place_of_other_sound_is_no_slip(size: int) -> None:
    """It breaks off at both ends, and what follows is in its place."""
    written = MUSIC.copy()
    written[:, AT : AT + size] = MUSIC[:, AT - size : AT]
    assert doubled_slips(ArrayAudio(written), []) == []


def test_a_block_that_stands_three_times_is_no_copy() -> None:
    """What stands twice right behind itself, once more and no oftener, is found with its distance."""
    assert standing_twice(np.tile(MUSIC[0, :50_000], 2)[:60_000], 64) == []
    loop = np.concatenate((MUSIC[0, :40_000], np.tile(MUSIC[0, 40_000:41_000], 2), MUSIC[0, 41_000:]))
    assert standing_twice(loop, 64) == [Copy(41_000, 42_000, 1000)]
    oftener = np.concatenate((MUSIC[0, :40_000], np.tile(MUSIC[0, 40_000:41_000], 3), MUSIC[0, 41_000:]))
    assert standing_twice(oftener, 64) == []


def test_loops_and_strokes_played_again_are_no_slips() -> None:
    """A loop repeats more than once; a stroke sets in before the first time, and on no track that sounds on."""
    loop = MUSIC.copy()
    loop[:, AT : AT + 9000] = np.tile(MUSIC[:, AT : AT + 3000], 3)
    assert doubled_slips(ArrayAudio(loop), []) == []
    stroke = np.zeros_like(MUSIC)
    stroke[:3, AT : AT + 3000] = MUSIC[:3, :3000]
    stroke[:3, AT + 2000 : AT + 5000] = MUSIC[:3, :3000]
    assert doubled_slips(ArrayAudio(stroke), []) == []
