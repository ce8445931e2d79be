"""Passes compared sample by sample: who is outvoted, what is undecided, what every pass has alike."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.comparison import BLOCK_SAMPLES, compare_reel
from assembler.aligner.records.findings import ReelFindings
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.ranges import common, merged, total
from assembler.aligner.records.timemap import Slip, map_with_slips
from scripts.bench.trial_sessions import ArrayAudio, make_tape

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Int32s

TAPE = make_tape("dense", 16, 160_000, np.random.default_rng(31))[:1]
ORIGIN = 1_000_000


def _compare(*passes: Int32s, tracks: Sequence[int] = (0,)) -> ReelFindings:
    placed = [
        PlacedPass(
            f"P{i + 1}", ArrayAudio(samples), (map_with_slips(samples.shape[1], ORIGIN, ()),) * len(tracks)
        )
        for i, samples in enumerate(passes)
    ]
    with ThreadPoolExecutor(2) as executor:
        return compare_reel(placed, tracks, 1, 32_767, executor, lambda _: None)


def _told(findings: ReelFindings) -> list[tuple[str, str, int, int]]:
    return [(f.pass_name, f.kind, f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws]


def _with(start: int, end: int, values: int) -> Int32s:
    samples = TAPE.copy()
    samples[0, start:end] = values
    return samples


def test_identical_passes_have_no_flaws() -> None:
    """Nothing is found where there is nothing."""
    assert _compare(TAPE, TAPE.copy(), TAPE.copy()) == ReelFindings(())


def test_a_flaw_across_blocks_is_one() -> None:
    """A mute that lies over the border of two blocks is told once, whole."""
    low, high = BLOCK_SAMPLES - 700, BLOCK_SAMPLES + 900
    assert _told(_compare(TAPE, _with(low, high, 0))) == [("P2", "mute", low, high)]
    assert _told(_compare(_with(low, high, 0), TAPE)) == [("P1", "mute", low, high)]


def test_two_against_one_settles_a_last_bit() -> None:
    """What no detector can tell is settled by a majority, whichever pass stands alone."""
    bit = _with(5000, 5001, int(TAPE[0, 5000]) ^ 1)
    assert _told(_compare(bit, TAPE, TAPE)) == [("P1", "disagreement", 5000, 5001)]
    assert _told(_compare(TAPE, TAPE, bit)) == [("P3", "disagreement", 5000, 5001)]
    assert _compare(bit, TAPE, TAPE).undecided == ()


def test_a_last_bit_of_two_is_undecided() -> None:
    """Between two passes it stays open: the more trusted one is taken and the place told."""
    findings = _compare(_with(5000, 5001, int(TAPE[0, 5000]) ^ 1), TAPE)
    assert _told(findings) == [("P2", "disagreement", 5000, 5001)]
    (place,) = findings.undecided
    assert (place.start - ORIGIN, place.end - ORIGIN, place.taken, place.others) == (
        5000,
        5001,
        "P1",
        ("P2",),
    )


def test_undecided_places_close_together_are_told_once() -> None:
    """A person looks at a hundredth of a second once: two open bits 500 samples apart are one place."""
    bits = _with(5000, 5001, int(TAPE[0, 5000]) ^ 1)
    bits[0, 5500] ^= 1
    (place,) = _compare(bits, TAPE).undecided
    assert (place.start - ORIGIN, place.end - ORIGIN) == (5000, 5501)


def test_the_end_of_a_pass_is_no_edge_of_a_mute() -> None:
    """A rest up to where the trusted pass ends stays a rest, though the other pass sounds on loudly behind it."""
    rested = TAPE.copy()
    rested[0, 50_000:63_000] = 0
    burst = rested.copy()
    burst[0, 61_000:64_000] = np.random.default_rng(34).integers(-9000, 9000, 3000)
    told = _told(_compare(rested[:, :63_000], burst))
    assert not [flaw for flaw in told if flaw[0] == "P1"]


def test_two_mutes_that_agree_are_no_majority() -> None:
    """Two passes muted at one place agree on zeros; the third one that holds sound is right."""
    mute = _with(9000, 9800, 0)
    assert _told(_compare(mute, TAPE, mute)) == [("P1", "mute", 9000, 9800), ("P3", "mute", 9000, 9800)]


def test_two_mutes_in_quiet_noise_are_no_majority() -> None:
    """The same holds where the material is noise of a few steps that a mute does not audibly cut off."""
    right = make_tape("quiet", 16, 100_000, np.random.default_rng(33))[:1]
    first, second = right.copy(), right.copy()
    first[0, 20_000:24_000] = 0
    second[0, 21_000:21_300] = 0
    told = _told(_compare(first, right, second))
    assert ("P3", "mute", 21_000, 21_300) in told or ("P3", "mute", 21_001, 21_300) in told
    assert not [flaw for flaw in told if flaw[0] == "P2"]


def test_a_mute_that_all_have_is_the_tapes() -> None:
    """What is muted alike in every pass is a flaw of each, and points at the tape."""
    mute = _with(9000, 9800, 0)
    findings = _compare(mute, mute)
    assert {flaw[1:] for flaw in _told(findings)} == {("mute", 9000, 9800)}
    assert findings.agreeing_flaws
    assert findings.undecided == ()


def test_a_level_that_all_hold_alike_is_the_tapes() -> None:
    """Sound that stands still from one sample to another, in every pass, is what a dropout on tape left."""
    held = _with(9000, 9800, int(TAPE[0, 8999]))
    told = _told(_compare(held, held))
    assert [(name, kind) for name, kind, *_ in told] == [("P1", "hold"), ("P2", "hold")]
    assert all(abs(start - 9000) <= 1 and end == 9800 for *_, start, end in told)
    # Sound that holds levels by nature is no flaw.
    square = np.tile(np.repeat(np.array([900, -900], np.int32), 400), 200)[None, :]
    assert _told(_compare(square, square)) == []


def test_a_mute_that_only_one_pass_covers_is_found() -> None:
    """Where the other pass has ended a mute is found by itself, and also where it ends in the mute's middle."""
    mute = _with(90_000, 92_000, 0)
    assert _told(_compare(mute, TAPE[:, :80_000])) == [("P1", "mute", 90_000, 92_000)]
    assert _told(_compare(mute, TAPE[:, :91_000])) == [("P1", "mute", 90_000, 92_000)]


def test_a_flaw_of_another_kind_in_each_pass_is_named_for_each() -> None:
    """Flaws that do not touch are each judged by themselves."""
    findings = _compare(_with(9000, 9800, 0), _with(40_000, 40_500, int(TAPE[0, 39_999])))
    assert _told(findings) == [("P1", "mute", 9000, 9800), ("P2", "hold", 40_000, 40_500)]


def test_passes_that_differ_everywhere_are_unlike() -> None:
    """A chain that adds dither is a finding of its own, with the share and the largest difference."""
    noise = np.random.default_rng(32).integers(-1, 2, TAPE.shape).astype(np.int32)
    findings = _compare(TAPE, TAPE + noise)
    assert findings.flaws == ()
    assert 0.6 < findings.unlike["P1", "P2"] < 0.72
    assert findings.largest_difference["P1", "P2"] == 1


def test_a_pass_that_lost_every_other_sample_all_along_is_not_unlike() -> None:
    """No short stretch is the same in both, but all that differs stands as concealment leaves it."""
    lost = TAPE.copy()
    lost[:, 1:-1:2] = (TAPE[:, :-2:2].astype(np.int64) + TAPE[:, 2::2]) >> 1
    findings = _compare(lost, TAPE)
    assert findings.unlike == {}
    assert {flaw.pass_name for flaw in findings.flaws} == {"P1"}


def _compare_slipped(slipped: Int32s, slip: Slip, other: Int32s) -> ReelFindings:
    maps = map_with_slips(slipped.shape[1], ORIGIN, (slip,)), map_with_slips(other.shape[1], ORIGIN, ())
    placed = [
        PlacedPass("P1", ArrayAudio(slipped), (maps[0],)),
        PlacedPass("P2", ArrayAudio(other), (maps[1],)),
    ]
    with ThreadPoolExecutor(2) as executor:
        return compare_reel(placed, [0], 1, 32_767, executor, lambda _: None)


def test_right_samples_that_a_slip_moved_are_flawed() -> None:
    """Good samples one place off sound as good; beside a doubtful slip they are flawed all the same."""
    slipped = np.concatenate((TAPE[:, :50_000], TAPE[:, 50_001:]), axis=1)
    findings = _compare_slipped(slipped, Slip(49_600, 1, (49_500, 50_100)), TAPE)
    wrong = [(f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws if f.pass_name == "P1"]
    assert total(common(merged(wrong), [(49_601, 50_001)])) >= 395


def test_a_doubt_without_a_difference_is_no_flaw() -> None:
    """A slip at its right place moves nothing, so that neither pass is flawed beside it."""
    slipped = np.concatenate((TAPE[:, :50_000], TAPE[:, 50_300:]), axis=1)
    findings = _compare_slipped(slipped, Slip(50_000, 300, (49_500, 50_100)), TAPE)
    assert [flaw for flaw in findings.flaws if flaw.kind == "disagreement"] == []


def test_what_stands_in_for_lost_samples_is_not_borne_out_either() -> None:
    """Beside a doubtful slip a noise of the other pass, over the samples that seem lost, is listed."""
    slipped = np.concatenate((TAPE[:, :50_000], TAPE[:, 50_300:]), axis=1)
    noisy = TAPE.copy()
    noisy[0, 49_600:50_200] = np.random.default_rng(8).integers(-9000, 9000, 600)
    findings = _compare_slipped(slipped, Slip(49_600, 300, (49_600, 50_000)), noisy)
    found = [(f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws if f.pass_name == "P2"]
    assert total(common(merged(found), [(49_600, 49_900)])) == 300


@pytest.mark.parametrize("other", [None, slice(0, 30_000), slice(140_000, 160_000)])
def test_between_two_slips_a_pass_that_lies_alone_is_as_right_as_elsewhere(other: slice | None) -> None:
    """Beside both it is told; where no other pass has begun yet, or ever begins, none has a hole between them."""
    cut = np.concatenate((TAPE[:, :50_000], TAPE[:, 50_004:110_000], TAPE[:, 110_004:]), axis=1)
    slips = Slip(50_000, 4, (49_900, 50_100)), Slip(109_996, 4, (109_896, 110_096))
    placed = [PlacedPass("P1", ArrayAudio(cut), (map_with_slips(cut.shape[1], ORIGIN, slips),))]
    if other is not None:
        part = TAPE[:, other]
        placed.append(
            PlacedPass("P2", ArrayAudio(part), (map_with_slips(part.shape[1], ORIGIN + other.start, ()),))
        )
    with ThreadPoolExecutor(2) as executor:
        findings = compare_reel(placed, [0], 1, 32_767, executor, lambda _: None)
    assert {told[1] for told in _told(findings)} == {"disagreement"}
    assert all(end - start < 1000 for _, _, start, end in _told(findings))


def test_what_only_a_doubtful_pass_has_is_flawed() -> None:
    """Where no other pass covers the doubt it is told as it stands."""
    slipped = np.concatenate((TAPE[:, :50_000], TAPE[:, 50_300:]), axis=1)
    findings = _compare_slipped(slipped, Slip(50_000, 300, (49_900, 50_100)), TAPE[:, :49_950])
    assert [told for told in _told(findings) if told[1] == "disagreement"] == [
        ("P1", "disagreement", 49_950, 50_000),
        ("P1", "disagreement", 50_300, 50_400),
    ]


def test_a_flaw_that_only_one_pass_covers_is_told() -> None:
    """Behind the end of the other pass a straight line is told, over the border of two blocks too."""
    at = BLOCK_SAMPLES + 20_000 - 50
    flawed = TAPE.copy()
    flawed[0, at : at + 100] = np.rint(np.linspace(TAPE[0, at - 1], TAPE[0, at + 100], 102)[1:-1])
    short = TAPE[:, :20_000]
    ((name, kind, start, end),) = _told(_compare(flawed, short))
    assert (name, kind) == ("P1", "straight")
    # The line may touch the sound beside it by chance.
    assert (start, end) == pytest.approx((at, at + 100), abs=2)
    assert _told(_compare(TAPE, short)) == []


def test_a_rest_beside_a_burst_is_no_mute() -> None:
    """Sound that has died away is loud at its edge only by the burst; the other pass shows the rest as it is."""
    tape = TAPE.copy()
    tape[0, 70_000:90_000] = np.rint(tape[0, 70_000:90_000] * np.linspace(1, 0, 20_000))
    tape[0, 90_000:100_000] = 0
    burst = tape.copy()
    burst[0, 88_000:92_000] = np.random.default_rng(5).integers(-9000, 9000, 4000)
    findings = _compare(burst, tape)
    assert [one for one in _told(findings) if one[3] > 92_000] == []
    assert findings.agreeing_flaws == ()


def test_a_long_burst_is_told_as_one() -> None:
    """However many parts it was judged in, and though now and then its samples are right by chance."""
    burst = TAPE.copy()
    burst[0, 60_000:75_000] = np.random.default_rng(6).integers(-9000, 9000, 15_000)
    burst[0, 66_000:66_004] = TAPE[0, 66_000:66_004]
    assert _told(_compare(TAPE, burst)) == [("P2", "burst", 60_000, 75_000)]


def test_what_two_passes_mute_inside_each_others_flaws_is_told() -> None:
    """They agree on zeros there, but a muted pass is no witness for a mute."""
    noise = np.rint(np.random.default_rng(35).normal(scale=2.0, size=TAPE.shape)).astype(np.int32)
    long, short = noise.copy(), noise.copy()
    long[0, 40_000:48_000] = 0
    short[0, 43_000:43_600] = 0
    findings = _compare(long, short)
    for name, low, high in (("P1", 40_000, 48_000), ("P2", 43_000, 43_600)):
        found = merged((f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws if f.pass_name == name)
        assert total(common(found, [(low, high)])) >= high - low - 8


def test_noise_on_a_track_that_hardly_sounds_makes_no_pass_unlike() -> None:
    """A tenth of it is noise in one pass, and nothing else of it is loud: that is no other chain's sound."""
    rng = np.random.default_rng(3)
    soft = np.rint(rng.normal(scale=2.0, size=(1, 160_000))).astype(np.int32)
    noisy = soft.copy()
    for start in range(8000, 160_000, 16_000):
        noisy[0, start : start + 1600] = rng.integers(-9000, 9000, 1600)
    for captures in ((noisy, soft), (soft, noisy)):
        findings = _compare(*captures)
        assert not findings.unlike
        assert {flaw.kind for flaw in findings.flaws} <= {"burst", "disagreement", "click"}
        assert total(merged((f.start, f.end) for f in findings.flaws)) >= 15_900


def test_a_copy_out_of_phase_is_one_place() -> None:
    """A block of a square wave played twice differs from the wave for a few samples at every edge."""
    wave = np.where((np.arange(160_000) * 0.0031) % 1.0 < 0.5, 7_000, -7_000).astype(np.int32)[None]
    wave[0, 90_000:] = 0
    copied = wave.copy()
    copied[0, 89_000:92_000] = wave[0, 86_000:89_000]
    findings = _compare(copied, wave)
    assert {f.pass_name for f in findings.flaws} == {"P1"}
    assert {f.kind for f in findings.flaws} == {"repeat"}
    ((low, high),) = merged((f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws)
    assert 89_000 <= low < 89_162
    assert 91_838 < high <= 92_000
    assert all(place.taken == "P2" for place in findings.undecided)


@pytest.mark.parametrize(("low", "high"), [(44_000, 52_000), (43_000, 46_000), (36_000, 43_000)])
def test_mutes_of_two_passes_that_overlap_are_told_of_both(low: int, high: int) -> None:
    """Where both hold zeros nothing differs; but each one's mute goes on there from where it was told."""
    first, second = _with(40_000, 48_000, 0), _with(low, high, 0)
    findings = _compare(first, second)
    shared = max(40_000, low), min(48_000, high)
    for name in ("P1", "P2"):
        found = merged((f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws if f.pass_name == name)
        assert common(found, [shared]) == [shared]
    assert {(f.pass_name, f.kind) for f in findings.flaws} == {("P1", "mute"), ("P2", "mute")}


def _cut_off() -> Int32s:
    """A sound that stops from one sample to the next, rests, and sets in again from nothing."""
    sound = TAPE.copy()
    sound[0, 50_000:53_000] = 0
    sound[0, 53_000:54_000] = np.rint(sound[0, 53_000:54_000] * np.linspace(0, 1, 1_000) ** 0.5)
    return sound


def test_a_rest_that_all_passes_have_alike_is_no_mute() -> None:
    """Sound does not go on behind it as before, so that nothing tells of a flaw of the tape."""
    tape = _cut_off()
    assert _compare(tape, tape.copy()) == ReelFindings(())


def test_a_rest_that_two_passes_have_alike_is_no_mute_of_theirs() -> None:
    """A third one with noise in the rest is the flawed one."""
    tape = _cut_off()
    noisy = tape.copy()
    noisy[0, 49_000:54_500] = np.random.default_rng(67).integers(-20_000, 20_000, 5_500)
    for passes in ((tape, tape, noisy), (noisy, tape, tape)):
        wrong = "P3" if passes[2] is noisy else "P1"
        assert {name for name, *_ in _told(_compare(*passes))} == {wrong}


def _drawn(start: int, end: int) -> Int32s:
    samples = TAPE.copy()
    line = np.interp(np.arange(start, end), [start - 1, end], TAPE[0, [start - 1, end]])
    samples[0, start:end] = np.rint(line)
    return samples


@pytest.mark.parametrize("start", [40_000, BLOCK_SAMPLES - 55])
def test_a_line_that_every_pass_has_is_the_tapes(start: int) -> None:
    """What no capture could read was drawn over in all of them alike; sound itself does not run like that."""
    drawn = _drawn(start, start + 120)
    findings = _compare(drawn, drawn.copy())
    assert {(f.pass_name, f.kind) for f in findings.agreeing_flaws} == {
        ("P1", "straight"),
        ("P2", "straight"),
    }
    for name in ("P1", "P2"):
        found = merged((f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws if f.pass_name == name)
        assert total(common(found, [(start, start + 120)])) >= 118


def test_a_line_of_two_passes_is_no_majority() -> None:
    """Two captures drew over what a third one could read."""
    drawn = _drawn(40_000, 40_090)
    findings = _compare(drawn, drawn.copy(), TAPE)
    assert {name for name, *_ in _told(findings)} == {"P1", "P2"}


def test_a_hold_inside_another_pass_s_mute_leaves_nothing_open() -> None:
    """The two agree on zeros there; what the mute is held against around it says nothing of that part."""
    noise = np.rint(4 * np.random.default_rng(98).standard_normal(TAPE.shape)).astype(np.int32)
    noise[0, 40_092:40_094] = 0
    muted, held = noise.copy(), noise.copy()
    muted[0, 40_000:41_300] = 0
    held[0, 40_094:40_141] = 0
    findings = _compare(muted, held, noise)
    assert findings.undecided == ()
    assert {name for name, *_ in _told(findings)} == {"P1", "P2"}
    flawed = merged((f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws if f.pass_name == "P2")
    assert common(flawed, [(40_094, 40_141)]) == [(40_094, 40_141)]


def test_a_mute_inside_the_noise_of_another_pass_is_told_of_its_pass() -> None:
    """Two passes agree around it and none do within; what is open for the noise there leaves the mute's flaw."""
    quiet = np.rint(1.3 * np.random.default_rng(94).standard_normal((3, 100_000))).astype(np.int32)
    quiet[:, 43_996:44_000] = quiet[:, 44_650:44_654] = 0
    muted, noisy = quiet.copy(), quiet.copy()
    muted[0, 44_000:44_650] = 0
    noisy[:, 40_000:48_000] = np.rint(1e6 * np.random.default_rng(95).standard_normal((3, 8_000)))
    findings = _compare(muted, noisy, quiet, tracks=[0, 1, 2])
    flaws = [f for f in findings.flaws if (f.pass_name, f.track) == ("P1", 0)]
    assert total(common(merged((f.start - ORIGIN, f.end - ORIGIN) for f in flaws), [(44_000, 44_650)])) >= 630
    assert {f.pass_name for f in findings.flaws} == {"P1", "P2"}


def test_two_mutes_that_agree_in_a_short_place_leave_it_open_or_are_told() -> None:
    """The short one lies in a gap of what the long one is outvoted in, and is a place of its own."""
    band = make_tape("band", 16, 60_000, np.random.default_rng(2))[:1]
    tape = np.clip(4 * band.astype(np.int64), -32_768, 32_767).astype(np.int32)
    short, long = tape.copy(), tape.copy()
    short[0, 24_983:25_040] = 0
    long[0, 23_583:28_040] = 0
    findings = _compare(short, long, tape)
    told = [(f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws if f.pass_name in ("P1", "P3")]
    told += [(place.start - ORIGIN, place.end - ORIGIN) for place in findings.undecided]
    assert total(common(merged(told), [(24_983, 25_040)])) >= 56


def test_an_outvoted_place_is_judged_by_a_pass_that_lost_no_samples_there() -> None:
    """Where the trusted pass has a hole, what another one holds there is no sound to go by."""
    wave = np.where(np.arange(100_000) % 200.3 < 100, 6_000, -6_000).astype(np.int32)[None, :]
    noisy = wave.copy()
    noisy[0, 50_000:54_000] = np.random.default_rng(41).integers(-4_000, 4_000, 4_000)
    lost = np.concatenate((wave[:, :51_000], wave[:, 53_000:]), axis=1)
    maps = [
        map_with_slips(lost.shape[1], ORIGIN, (Slip(51_000, 2_000),)),
        map_with_slips(wave.shape[1], ORIGIN, ()),
        map_with_slips(wave.shape[1], ORIGIN, ()),
    ]
    placed = [
        PlacedPass(f"P{number + 1}", ArrayAudio(samples), (time_map,))
        for number, (samples, time_map) in enumerate(zip((lost, wave, noisy), maps, strict=True))
    ]
    with ThreadPoolExecutor(2) as executor:
        findings = compare_reel(placed, (0,), 1, 32_767, executor, lambda _: None)
    assert {flaw.pass_name for flaw in findings.flaws} == {"P3"}


def test_a_block_whose_original_is_flawed_in_both_other_versions_is_found() -> None:
    """The original of a block played twice may be heard in a third pass alone."""
    rng = np.random.default_rng(42)
    drum = np.rint(3_000 * rng.normal(size=4_000)).astype(np.int32)
    tape = np.zeros((1, 100_000), np.int32)
    tape[0, 50_000:54_000] = drum
    rested, again = tape.copy(), tape.copy()
    rested[0, 48_000:56_000] = 0
    again[0, 46_000:54_300] = 0
    again[0, 54_300:57_800] = drum[500:4_000]
    findings = _compare(rested, again, tape)
    wrong = [(f.start - ORIGIN, f.end - ORIGIN) for f in findings.flaws if f.pass_name == "P3"]
    assert not common(wrong, [(54_300, 57_800)])


def test_a_level_of_zero_between_small_steps_is_a_mute() -> None:
    """Zeros that a sample of one step ends are a level, and no line that a machine drew."""
    quiet = make_tape("quiet", 16, 60_000, np.random.default_rng(33))[:1]
    muted = quiet.copy()
    muted[0, 20_000:24_000] = 0
    assert {kind for _, kind, _, _ in _told(_compare(muted, quiet, quiet))} == {"mute"}


@pytest.mark.parametrize("right", [0, 1, 2])
@pytest.mark.parametrize(
    ("kind", "size"), [("mute", 900), ("hold", 300), ("straight", 120), ("repeat", 1_500)]
)
def test_two_passes_that_hide_an_error_alike_do_not_outvote_the_right_one(
    kind: str, size: int, *, right: int
) -> None:
    """What a machine puts in for what it could not read depends on the tape alone: it may do so twice."""
    start = 80_000
    hidden = TAPE.copy()
    hidden[0, start : start + size] = {
        "mute": np.zeros(size),
        "hold": np.full(size, TAPE[0, start - 1]),
        "straight": np.rint(np.linspace(TAPE[0, start - 1], TAPE[0, start + size], size + 2)[1:-1]),
        "repeat": TAPE[0, start - size : start],
    }[kind]
    captures = [hidden, hidden, hidden]
    captures[right] = TAPE
    findings = _compare(*captures)
    others = {"P1", "P2", "P3"} - {f"P{right + 1}"}
    assert {flaw.pass_name for flaw in findings.flaws} == others or findings.undecided


def test_a_rest_that_a_third_pass_plays_through_is_told() -> None:
    """Where a sound ends anew behind a silence, two muted passes look like two that rest: a person has to hear it."""
    at = np.arange(60_000)
    tape = np.rint(9_000 * np.sin(at * 0.03) * np.exp(-(at % 15_000) / 4_000)).astype(np.int32)[None, :]
    muted = tape.copy()
    muted[0, 28_000:30_000] = 0
    findings = _compare(muted, muted, tape)
    told = [(flaw.start - ORIGIN, flaw.end - ORIGIN) for flaw in findings.flaws if flaw.pass_name == "P1"]
    listed = [(place.start - ORIGIN, place.end - ORIGIN) for place in findings.undecided]
    assert total(common(merged([*told, *listed]), [(28_000, 30_000)])) >= 1_990


@pytest.mark.parametrize("right", [0, 1, 2])
def test_a_level_too_short_to_be_told_that_two_passes_hold_is_listed(right: int) -> None:
    """Sound may stay on a level for half a millisecond, and so may what two machines hold alike."""
    held = TAPE.copy()
    held[0, 80_000:80_026] = TAPE[0, 79_999]
    captures = [held, held, held]
    captures[right] = TAPE
    findings = _compare(*captures)
    listed = merged((place.start - ORIGIN, place.end - ORIGIN) for place in findings.undecided)
    assert total(common(listed, [(80_000, 80_026)])) >= 20
