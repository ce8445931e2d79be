"""Which of two captures is right where they differ: one flaw of each kind on several materials."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.judge.place import judge_place
from assembler.aligner.judge.stories.verdict import Judged, Verdict
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import NOISE_KINDS
from assembler.aligner.sound.limits import FIT_SAMPLES
from scripts.bench.trial_sessions import make_tape

if TYPE_CHECKING:
    from assembler.arrays import Int32s

WHY = Because(Rule.OUTVOTED)

START = FIT_SAMPLES + 4000


def _flawed(kind: str, right: Int32s, end: int) -> Int32s:
    rng = np.random.default_rng(21)
    size = end - START
    samples = right.copy()
    line = np.interp(np.arange(START, end), [START - 1, end], right[[START - 1, end]])
    samples[START:end] = {
        "mute": np.zeros(size),
        "hold": np.full(size, right[START - 1]),
        "straight": np.rint(line),
        "repeat": right[START - size : START],
        "click": right[START:end] + 12_000,
        "burst": rng.integers(-12_000, 12_000, size),
    }[kind]
    return samples


def _verdict(
    first: Int32s, second: Int32s, place: tuple[int, int], witnesses: tuple[Int32s, ...] = ()
) -> Verdict:
    """Return what is said of the longest part."""
    parts = judge_place([first, second], place, 1, witnesses=witnesses)
    return max(parts, key=lambda part: part.end - part.start).verdict


def _at(parts: list[Judged], sample: int) -> Verdict:
    return next(part.verdict for part in parts if part.start <= sample < part.end)


@pytest.mark.parametrize("right_first", [True, False])
@pytest.mark.parametrize("character", ["dense", "tones"])
@pytest.mark.parametrize(
    ("kind", "size"),
    [("mute", 900), ("hold", 300), ("straight", 60), ("repeat", 1500), ("click", 3), ("burst", 500)],
)
def test_a_flaw_is_told_from_sound(kind: str, size: int, character: str, *, right_first: bool) -> None:
    """Whichever pass is trusted more, the flawed version is named with its kind and the other one is right."""
    right = make_tape(character, 16, 12_000, np.random.default_rng(22))[0]
    flawed = _flawed(kind, right, START + size)
    first, second = (right, flawed) if right_first else (flawed, right)
    verdict = _verdict(first, second, (START, START + size))
    assert verdict == Verdict(
        0 if right_first else 1, ("", kind) if right_first else (kind, ""), decided=True, because=WHY
    )


def test_a_last_bit_is_not_decided() -> None:
    """Nothing tells which of two passes has the right last bit: the trusted one is taken, as undecided."""
    one = make_tape("dense", 16, 12_000, np.random.default_rng(23))[0]
    other = one.copy()
    other[START] ^= 1
    verdict = _verdict(other, one, (START, START + 1))
    assert (verdict.right, verdict.decided, verdict.kinds) == (0, False, ("", "disagreement"))


def test_a_last_bit_behind_a_flaw_is_not_decided_by_what_lies_between() -> None:
    """Where both hold the same, nothing is said of the samples behind it."""
    one = make_tape("dense", 16, 12_000, np.random.default_rng(23))[0]
    other = one.copy()
    other[START : START + 900] = 0
    other[START + 1_200 : START + 1_202] ^= 1
    parts = judge_place([one, other], (START, START + 1_202), 1)
    assert not _at(parts, START + 1_201).decided
    assert any(_at(parts, START + 1_201).kinds)


def test_where_no_version_can_be_right_all_are_flawed() -> None:
    """A mute against a hold: both are named, and the trusted one stays."""
    right = make_tape("dense", 16, 12_000, np.random.default_rng(24))[0]
    place = (START, START + 800)
    verdict = _verdict(_flawed("hold", right, place[1]), _flawed("mute", right, place[1]), place)
    assert verdict == Verdict(0, ("hold", "mute"), decided=True, because=WHY)


def test_a_burst_against_a_mute_is_a_flaw_as_well() -> None:
    """Noise that sets in and stops is listed even where the other pass is muted; an onset of a note is not."""
    right = make_tape("tones", 16, 12_000, np.random.default_rng(25))[0]
    place = (START, START + 800)
    mute = _flawed("mute", right, place[1])
    assert _verdict(mute, _flawed("burst", right, place[1]), place).kinds == ("mute", "burst")


def test_the_onset_of_a_note_is_no_burst() -> None:
    """A stroke of noise that dies away behind the other pass's mute sets in, but does not stop: it is sound."""
    rng = np.random.default_rng(30)
    right = make_tape("tones", 16, 12_000, rng)[0] // 4
    places = np.arange(12_000 - START - 100)
    right[START + 100 :] += np.rint(rng.normal(scale=4000, size=places.size) * np.exp(-places / 200)).astype(
        np.int32
    )
    muted = _flawed("mute", right, START + 800)
    assert _verdict(muted, right, (START, START + 800)) == Verdict(1, ("mute", ""), decided=True, because=WHY)


def test_a_mute_in_quiet_noise_is_named() -> None:
    """Zeros among noise of two steps have no loud edges; that nothing sounds there tells them apart."""
    right = np.rint(np.random.default_rng(33).normal(scale=2, size=12_000)).astype(np.int32)
    place = START, START + 700
    assert _verdict(_flawed("mute", right, place[1]), right, place) == Verdict(
        1, ("mute", ""), decided=True, because=WHY
    )


def test_a_soft_burst_is_told_from_a_loud_onset() -> None:
    """Noise no louder than a stroke nearby is the flaw, where the other version is a note that sets in louder."""
    rng = np.random.default_rng(31)
    right = np.rint(rng.normal(scale=1, size=12_000)).astype(np.int32)
    right[START - 600 : START - 500] += rng.integers(-900, 900, 100, dtype=np.int32)
    seconds = np.arange(12_000 - START - 300) / 48_000
    note = 20_000 * np.sign(np.sin(2 * np.pi * 300 * seconds)) * np.exp(-6 * seconds)
    right[START + 300 :] += np.rint(note).astype(np.int32)
    burst = right.copy()
    burst[START : START + 1200] = rng.integers(-500, 500, 1200)
    verdict = _verdict(burst, right, (START, START + 1200))
    assert (verdict.right, verdict.decided, verdict.kinds[1]) == (1, True, "")
    assert verdict.kinds[0] in NOISE_KINDS


def test_recorded_silence_is_right_against_a_burst() -> None:
    """Zeros between notes are a rest, not a mute: the burst that lies over them is the flaw."""
    note = make_tape("tones", 16, 12_000, np.random.default_rng(26))[0].astype(np.float64)
    note[START - 500 : START + 1500] = 0
    note[START - 2500 : START - 500] *= np.linspace(1, 0, 2000)
    right = np.rint(note).astype(np.int32)
    burst = _flawed("burst", right, START + 700)
    verdict = _verdict(burst, right, (START, START + 700))
    assert verdict == Verdict(1, ("burst", ""), decided=True, because=WHY)


def test_a_rest_that_ends_inside_the_difference_is_no_mute() -> None:
    """Zeros go over into a note that sets in loud, below the other pass's burst: the note's edge proves nothing."""
    right = make_tape("tones", 16, 12_000, np.random.default_rng(32))[0]
    right[START - 3000 : START + 400] = 0
    burst = _flawed("burst", right, START + 900)
    verdict = _verdict(right, burst, (START, START + 900))
    assert (verdict.right, verdict.kinds[0]) == (0, "")


@pytest.mark.parametrize("kind", ["mute", "hold"])
def test_a_level_over_a_square_wave_is_told(kind: str) -> None:
    """A square wave holds levels by nature, but at its own pace: where the other version stays on one, that is odd."""
    right = np.tile(np.repeat(np.array([9000, -9000], np.int32), 70), 100)[:12_000]
    assert _verdict(_flawed(kind, right, START + 1000), right, (START, START + 1000)) == Verdict(
        1, (kind, ""), decided=True, because=WHY
    )


def test_a_rest_between_square_waves_is_not_decided() -> None:
    """Where a square wave stops in one version and goes on a little in the other, nothing tells which is right."""
    wave = np.tile(np.repeat(np.array([9000, -9000], np.int32), 70), 100)[:12_000]
    stops, goes_on = wave.copy(), wave.copy()
    stops[START:] = 0
    goes_on[START + 700 :] = 0
    assert not _verdict(stops, goes_on, (START, START + 700)).decided


def test_a_square_wave_is_never_named_a_hold() -> None:
    """Its levels are its own, also where a rest lies in the other version and around."""
    right = np.zeros(12_000, np.int32)
    right[START : START + 900] = np.tile(np.repeat(np.array([9000, -9000], np.int32), 90), 5)
    right[START + 900 :] = 700
    verdict = _verdict(right, _flawed("mute", right, START + 900), (START, START + 900))
    assert "hold" not in verdict.kinds


def test_a_loop_is_no_repeated_block() -> None:
    """Sound that stood there one bar ago, and goes on to stand there, repeats by nature."""
    bar = make_tape("dense", 16, 3000, np.random.default_rng(27))[0]
    loop = np.tile(bar, 4)
    muted = _flawed("mute", loop, START + 900)
    assert _verdict(loop, muted, (START, START + 900)) == Verdict(0, ("", "mute"), decided=True, because=WHY)


def test_a_third_pass_is_heard_on_the_surroundings() -> None:
    """Where a flaw of one version reaches out of the place, the surroundings are what most passes hold."""
    right = make_tape("dense", 16, 12_000, np.random.default_rng(28))[0]
    muted = right.copy()
    muted[START - 1500 : START + 2500] = 0
    place = (START, START + 300)
    burst = _flawed("burst", right, place[1])
    assert _verdict(muted, burst, place, (right,)).kinds[0] == "mute"
    assert _verdict(muted, right, place, (right,)) == Verdict(1, ("mute", ""), decided=True, because=WHY)


def test_overlapping_flaws_are_judged_in_parts() -> None:
    """A mute and a hold that overlap are cut where either begins or ends, and what is equal is left out."""
    right = make_tape("dense", 16, 12_000, np.random.default_rng(29))[0]
    first, second = right.copy(), right.copy()
    first[START : START + 600] = 0
    second[START + 400 : START + 900] = right[START + 399]
    second[START + 2000 : START + 2010] += 5
    parts = judge_place([first, second], (START, START + 2010), 1)
    assert {START, START + 400, START + 600, START + 900, START + 2000} <= {part.start for part in parts} | {
        part.end for part in parts
    }
    assert [part for part in parts if START + 900 <= part.start < START + 2000] == []
    assert _at(parts, START + 100) == Verdict(1, ("mute", ""), decided=True, because=WHY)
    assert _at(parts, START + 500) == Verdict(0, ("mute", "hold"), decided=True, because=WHY)
    assert _at(parts, START + 800) == Verdict(0, ("", "hold"), decided=True, because=WHY)


def test_a_line_over_a_fading_tone_is_told() -> None:
    """A few steps of sound run nearly straight; what lies exactly on a line between its ends was made from them."""
    seconds = np.arange(12_000) / 48_000
    right = np.rint(9 * np.exp(-3 * seconds) * np.sin(2 * np.pi * 130 * seconds)).astype(np.int32)
    line = _flawed("straight", right, START + 170)
    place = (START + 2, START + 168)
    assert _verdict(line, right, place) == Verdict(1, ("straight", ""), decided=True, because=WHY)


def test_noise_that_changes_its_level_is_no_sound() -> None:
    """A burst in a burst, over noise of a few steps, may be told as undecided, but is never taken for the sound."""
    rng = np.random.default_rng(41)
    right = np.rint(rng.normal(scale=2.4, size=14_000)).astype(np.int32)
    burst = right.copy()
    burst[START : START + 4700] = rng.integers(-900, 900, 4700)
    burst[START + 2600 : START + 2632] = rng.integers(-22_000, 22_000, 32)
    verdict = _verdict(burst, right, (START, START + 4700))
    assert verdict.right == 1 or not verdict.decided


def test_of_two_flaws_in_a_square_wave_neither_passes_for_sound() -> None:
    """A mute inside another pass's held level is as wrong as that: both are named."""
    right = np.tile(np.repeat(np.array([9000, -9000], np.int32), 47), 130)[:12_000]
    held, muted = _flawed("hold", right, START + 3000), right.copy()
    muted[START + 1000 : START + 1092] = 0
    parts = judge_place([held, muted], (START, START + 3000), 1)
    assert _at(parts, START + 500) == Verdict(1, ("hold", ""), decided=True, because=WHY)
    assert _at(parts, START + 1040).kinds == ("hold", "mute")


def test_a_level_held_at_the_loudest_sample_is_no_clipped_peak() -> None:
    """A stroke stuck at its peak stays there far longer than anything around it does."""
    seconds = (np.arange(12_000) - START) / 48_000
    right = np.rint(20_000 * np.sin(2 * np.pi * 190 * seconds) * np.exp(-40 * np.abs(seconds)))
    right = right.astype(np.int32)
    right[START - 1] = right.max() + 1
    place = START, START + 1800
    stuck = _flawed("hold", right, place[1])
    assert _verdict(stuck, right, place) == Verdict(1, ("hold", ""), decided=True, because=WHY)


@pytest.mark.parametrize("right_first", [True, False])
def test_a_level_held_where_peaks_are_clipped_is_told_as_well(*, right_first: bool) -> None:
    """A distorted sound stays at its limit by nature; that it does for just this while costs more to say, no more."""
    rng = np.random.default_rng(1)
    seconds = np.arange(12_000) / 48_000
    driven = 3 * np.sin(2 * np.pi * 97 * seconds) + 1.8 * np.sin(2 * np.pi * 805.1 * seconds)
    right = np.rint(42_600 * np.tanh(driven) + rng.normal(scale=65, size=12_000))
    right = np.clip(right, -32_768, 32_767).astype(np.int32)
    start = START + int(np.flatnonzero(right[START:8_000] == 32_767)[8])
    held = right.copy()
    held[start : start + 110] = 32_767
    differs = np.flatnonzero(held != right)
    place = int(differs[0]), int(differs[-1]) + 1
    verdict = _verdict(*((right, held) if right_first else (held, right)), place)
    assert verdict.right == (0 if right_first else 1)
    assert verdict.decided


def _two_pulses() -> Int32s:
    """Two pulse waves at once: three levels, of which zero is one."""
    at = np.arange(24_000)
    first, second = (np.where(at * pitch % 1 < 0.5, 4_000, -4_000) for pitch in (0.0061, 0.0043))
    return (first + second).astype(np.int32)


@pytest.mark.parametrize("right_first", [True, False])
def test_zero_is_a_level_like_others_where_a_wave_has_it(*, right_first: bool) -> None:
    """A level held for no longer than the wave holds its own proves nothing, be it zero or another."""
    right = _two_pulses()
    start = int(np.flatnonzero((right[12_000:] == 8_000) & (right[11_999:-1] != 8_000))[0]) + 12_000
    held = right.copy()
    held[start : start + 40] = 0
    assert (right[start - 1], right[start + 40]) != (0, 0)
    first, second = (right, held) if right_first else (held, right)
    assert not _verdict(first, second, (start, start + 40)).decided


@pytest.mark.parametrize("right_first", [True, False])
def test_a_mute_of_such_a_wave_is_told(*, right_first: bool) -> None:
    """Silence that begins and ends just where captures differ is no rest."""
    right = _two_pulses()
    muted = right.copy()
    muted[12_011:15_017] = 0
    place = np.flatnonzero(muted != right)
    first, second = (right, muted) if right_first else (muted, right)
    verdict = _verdict(first, second, (int(place[0]), int(place[-1]) + 1))
    assert verdict.decided
    assert verdict.kinds[1 if right_first else 0] == "mute"


@pytest.mark.parametrize("right_first", [True, False])
def test_a_mute_over_a_clipped_peak_is_told(*, right_first: bool) -> None:
    """The peak is as flat as the mute, but peaks around are clipped as well."""
    rng = np.random.default_rng(64)
    swing = 60_000 * np.sin(np.arange(12_000) * 2 * np.pi / 700) + rng.normal(scale=60, size=12_000)
    right = np.rint(np.clip(swing, -32_768, 32_767)).astype(np.int32)
    start = int(np.flatnonzero(right[START:] == 32_767)[0]) + START + 40
    muted = right.copy()
    muted[start : start + 204] = 0
    first, second = (right, muted) if right_first else (muted, right)
    verdict = _verdict(first, second, (start, start + 204))
    assert verdict.decided
    assert verdict.kinds[1 if right_first else 0] == "mute"


def test_two_captures_do_not_hold_a_level_at_a_clipped_peak() -> None:
    """Soft noise in one capture is wrong, however flat the peaks of the two others are."""
    rng = np.random.default_rng(65)
    swing = 60_000 * np.sin(np.arange(14_000) * 2 * np.pi / 700)
    right = np.rint(np.clip(swing, -32_768, 32_767)).astype(np.int32)
    noisy = right.copy()
    noisy[START : START + 3_000] = rng.integers(-3_000, 3_000, 3_000)
    parts = judge_place([right, noisy], (START, START + 3_000), 1, holders=(2, 1))
    assert {part.verdict.kinds[0] for part in parts} == {""}


def test_a_stroke_that_was_heard_before_is_no_block_played_twice() -> None:
    """A drum machine plays the same numbers again: that does not prove them wrong against silence."""
    rng = np.random.default_rng(66)
    stroke = np.rint(9_000 * rng.normal(size=1_500) * np.exp(-np.arange(1_500) / 300)).astype(np.int32)
    right = np.zeros(24_000, np.int32)
    for start in (9_000, 13_000, 19_000):
        right[start : start + 1_500] = stroke
    muted = right.copy()
    muted[13_000:14_500] = 0
    for versions in ([right, muted], [muted, right]):
        verdict = _verdict(versions[0], versions[1], (13_000, 14_500))
        assert not (verdict.decided and verdict.kinds[0 if versions[0] is right else 1])


def test_noise_that_was_thrown_in_before_is_no_stroke() -> None:
    """Only the capture that has it now has it where it stood before: nothing tells that it belongs there."""
    right = np.zeros(24_000, np.int32)
    right[:2000] = _pulses()[:2000]
    spoilt = right.copy()
    spoilt[11_000:11_116] = np.random.default_rng(67).integers(-4_000, 4_000, 116)
    spoilt[13_300:13_416] = spoilt[11_000:11_116]
    for versions in ([right, spoilt], [spoilt, right]):
        verdict = _verdict(versions[0], versions[1], (13_300, 13_416))
        assert not verdict.decided or verdict.kinds[0 if versions[0] is right else 1] == ""


def test_soft_noise_over_a_clipped_peak_is_told() -> None:
    """Models foretell noise in a peak better than that it is flat; that peaks around are flat says it is right."""
    rng = np.random.default_rng(3)
    seconds = np.arange(12_000) / 48_000
    tones = zip(rng.uniform(80, 900, 4), rng.uniform(0, 6, 4), range(1, 5), strict=True)
    swing = np.tanh(3 * sum(np.sin(2 * np.pi * hertz * seconds + phase) / k for hertz, phase, k in tones))
    right = np.rint(np.clip(42_600 * swing + rng.normal(scale=60, size=12_000), -32_768, 32_767)).astype(
        np.int32
    )
    wrong = 0
    for start in range(START, START + 3_000, 250):
        noisy = right.copy()
        noisy[start : start + 300] = rng.integers(-3_000, 3_000, 300)
        parts = judge_place([right, noisy], (start, start + 300), 1)
        wrong += sum(
            part.end - part.start for part in parts if part.verdict.decided and part.verdict.kinds[0]
        )
    assert wrong == 0


def _pulses() -> Int32s:
    """Return a square wave that its pulse is followed in, sample for sample."""
    phase = np.arange(24_000) * (330.0 / 48_000.0) % 1.0
    return np.where(phase < 0.5, 9000, -9000).astype(np.int32)


@pytest.mark.parametrize("first_is_right", [True, False])
def test_of_two_waves_that_both_keep_time_neither_is_noise(*, first_is_right: bool) -> None:
    """A period more or less, to the sample, looks like what it is: a square wave. It is told as undecided."""
    right = _pulses()
    moved = right.copy()
    moved[START : START + 800] = right[START - 145 : START + 655]
    versions = [right, moved] if first_is_right else [moved, right]
    differing = np.flatnonzero(right != moved)
    parts = judge_place(versions, (int(differing[0]), int(differing[-1]) + 1), 1)
    assert parts
    assert not any(part.verdict.decided for part in parts)


def test_a_burst_inside_of_a_burst_of_the_other_capture_is_told() -> None:
    """Of a square wave that is lost in both for a while, the shorter flaw is seen to begin and to end."""
    rng = np.random.default_rng(7)
    first, second = _pulses(), _pulses()
    first[START + 1000 : START + 1049] = rng.integers(-40_000, 40_000, 49)
    second[START : START + 4000] = rng.integers(-3_000, 3_000, 4000)
    parts = judge_place([first, second], (START, START + 4000), 1)
    inner = _at(parts, START + 1020)
    assert all(inner.kinds) or not inner.decided
    assert (_at(parts, START + 500).right, _at(parts, START + 2000).right) == (0, 0)


def test_a_line_in_quiet_noise_inside_of_a_mute_of_the_other_capture_is_told() -> None:
    """The line is drawn from sound to sound, so that it foretells what comes behind it as well as sound would."""
    rng = np.random.default_rng(11)
    right = np.rint(78 + rng.normal(scale=1.2, size=24_000)).astype(np.int32)
    drawn, muted = right.copy(), right.copy()
    drawn[START + 3000 : START + 3046] = np.repeat([78, 79], 23)
    muted[START : START + 7000] = 0
    parts = judge_place([drawn, muted], (START, START + 7000), 1)
    inner = _at(parts, START + 3020)
    assert all(inner.kinds) or not inner.decided
    assert _at(parts, START + 1000).kinds == _at(parts, START + 5000).kinds == ("", "mute")


@pytest.mark.parametrize("first_is_right", [True, False])
def test_a_single_pulse_in_silence_is_not_decided(*, first_is_right: bool) -> None:
    """A click track's pulse that one capture muted, or a level that a machine threw in: nothing tells."""
    silent = np.zeros(24_000, np.int32)
    silent[:2000] = _pulses()[:2000]
    pulse = silent.copy()
    pulse[START : START + 118] = 9000
    parts = judge_place([pulse, silent] if first_is_right else [silent, pulse], (START, START + 118), 1)
    verdict = _at(parts, START + 50)
    assert (verdict.right, verdict.decided) == (0, False)


def test_a_level_held_in_quiet_noise_is_no_line() -> None:
    """It was made from the sample before it alone; a line would have to meet the one behind it as well."""
    rng = np.random.default_rng(12)
    right = np.rint(-73 + rng.normal(scale=5, size=24_000)).astype(np.int32)
    held = right.copy()
    held[START - 1] = -72
    right[START - 1] = -72
    held[START : START + 52] = -72
    held[START + 52] = right[START + 52] = -73
    parts = judge_place([held, right], (START, START + 52), 1)
    assert _at(parts, START + 20) == Verdict(1, ("hold", ""), decided=True, because=WHY)


def test_where_one_mute_begins_in_another_nothing_is_proved() -> None:
    """Two captures that may be muted one after the other, and for a while both: agreeing there is no proof."""
    right = _two_pulses()
    first, second = right.copy(), right.copy()
    first[START : START + 4000] = 0
    second[START + 3500 : START + 7000] = 0
    parts = judge_place([first, second], (START, START + 7000), 1)
    # A long rest is not told from a mute there; but what is said of one part is said of all.
    assert not any(_at(parts, START + at).decided for at in (100, 3700, 6900))


def test_a_mute_bears_no_witness_to_a_mute_inside_of_it() -> None:
    """Nothing but the flawed capture agrees with the other one's silence: the place is told."""
    right = _two_pulses()
    first, second = right.copy(), right.copy()
    first[START : START + 9000] = 0
    second[START + 4000 : START + 4900] = 0
    parts = judge_place([first, second], (START, START + 9000), 1)
    assert _at(parts, START + 2000).kinds == ("mute", "")
    inner = _at(parts, START + 4500)
    assert all(inner.kinds) or not inner.decided
    assert _at(parts, START + 8000).kinds == ("mute", "")


def test_a_level_held_may_begin_as_the_sound_s_own() -> None:
    """Where the wave was on that level anyway, a click of the other capture there is not laid to the one that held."""
    right = _pulses()
    edge = int(np.flatnonzero(right[START:] != right[START])[0]) + START
    held, clicked = right.copy(), right.copy()
    held[edge + 40 : edge + 300] = right[edge]
    clicked[edge + 20] = 2 * right[edge]
    parts = judge_place([held, clicked], (edge + 20, edge + 300), 1)
    assert _at(parts, edge + 20).right == 0
    assert _at(parts, edge + 100).kinds == ("hold", "")


def _added(kind: str, size: int) -> Int32s:
    at = np.arange(size)
    sound = {
        "buzz": 60 * np.sign(np.sin(2 * np.pi * 100 / 48_000 * at + 0.1)),
        "hum": 200 * np.sin(2 * np.pi * 50 / 48_000 * at),
    }[kind]
    return np.asarray(np.rint(sound), np.int32)


@pytest.mark.parametrize("right_first", [True, False])
@pytest.mark.parametrize("level", [3, 20])
@pytest.mark.parametrize("kind", ["buzz", "hum"])
def test_what_is_added_to_noise_is_no_better_sound_than_the_noise(
    kind: str, level: int, *, right_first: bool
) -> None:
    """A buzz is foretold better than the noise it lies over, and is yet what a machine has added."""
    rng = np.random.default_rng(41)
    right = np.rint(rng.normal(scale=level, size=24_000)).astype(np.int32)
    hummed = right.copy()
    hummed[START : START + 9_600] += _added(kind, 9_600)
    first, second = (right, hummed) if right_first else (hummed, right)
    verdict = _verdict(first, second, (START, START + 9_600))
    assert verdict.decided
    assert verdict.right == (0 if right_first else 1)


@pytest.mark.parametrize("right_first", [True, False])
def test_an_offset_that_one_capture_has_proves_neither_right(*, right_first: bool) -> None:
    """Noise around another level is as good as sound: nothing but a person tells which the tape has."""
    right = np.rint(np.random.default_rng(42).normal(scale=20, size=24_000)).astype(np.int32)
    moved = right.copy()
    moved[START : START + 4_800] += 70
    verdict = _verdict(*((right, moved) if right_first else (moved, right)), (START, START + 4_800))
    assert not verdict.decided or verdict.right == (0 if right_first else 1)


def test_a_click_where_sound_reaches_a_clipped_peak_is_open() -> None:
    """Two samples that come to the limit early are foretold as little as those that come there in time."""
    seconds = np.arange(12_000) / 48_000
    right = np.rint(np.clip(40_000 * np.sin(2 * np.pi * 150 * seconds), -32_768, 32_767)).astype(np.int32)
    reached = START + int(np.flatnonzero(np.diff((right[START:] == 32_767).astype(np.int8)) == 1)[0]) + 1
    early = right.copy()
    early[reached - 2 : reached] = 32_767
    for versions in ([right, early], [early, right]):
        parts = judge_place(versions, (reached - 2, reached), 1)
        flawed = [
            part.verdict.kinds[0 if versions[0] is right else 1] for part in parts if part.verdict.decided
        ]
        assert not any(flawed)


@pytest.mark.parametrize("blip_first", [True, False])
def test_an_instant_of_sound_in_silence_proves_no_mute(*, blip_first: bool) -> None:
    """A pulse behind the others of a note may be its last one, or the end of a block played twice."""
    silent = np.zeros(12_000, np.int32)
    silent[START - 833 : START - 825] = 4_852
    blip = silent.copy()
    blip[START : START + 8] = 4_852
    versions = (blip, silent) if blip_first else (silent, blip)
    assert not _verdict(*versions, (START, START + 8)).decided


def test_two_silent_passes_are_not_muted_for_an_instant() -> None:
    """Of three passes one has the end of another note in a rest that all have before it and behind it."""
    silent = np.where(np.arange(12_000) % 60 < 30, 5_000, -5_000).astype(np.int32)
    silent[START - 1_000 : START + 2_000] = 0
    blip = silent.copy()
    blip[START : START + 52] = np.where(np.arange(52) < 20, -5_000, 5_000)
    parts = judge_place([silent, blip], (START, START + 52), 1, holders=(2, 1))
    assert not any(part.verdict.decided and part.verdict.kinds[0] for part in parts)
