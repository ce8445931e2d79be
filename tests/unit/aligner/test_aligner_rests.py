"""Silences and clipped peaks in a lone pass: which are flaws, and which are how an instrument is played."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.comparison import compare_reel
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import map_with_slips
from scripts.bench.trial_sessions import ArrayAudio, make_tape

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Float64s, Int32s

LENGTH, STEP = 480_000, 6000
"""Ten seconds, and a sixteenth of a bar, as a sequencer at 120 beats a minute has them."""


def _told(*tracks: Int32s, others: int = 0, full_scale: int = 32_767) -> list[tuple[str, int, int, int]]:
    """Return the flaws of one pass, as kind, track, start and end; further passes end in the middle."""
    samples = np.stack(tracks)
    passes = [samples, *[samples[:, : LENGTH // 2]] * others]
    placed = [
        PlacedPass(f"P{i + 1}", ArrayAudio(held), (map_with_slips(held.shape[1], 0, ()),) * len(held))
        for i, held in enumerate(passes)
    ]
    with ThreadPoolExecutor(1) as executor:
        found = compare_reel(placed, range(len(tracks)), 1, full_scale, executor, lambda _: None)
    return [(flaw.kind, flaw.track, flaw.start, flaw.end) for flaw in found.flaws]


def _rounded(sound: Float64s) -> Int32s:
    return np.clip(np.rint(sound), -32_768, 32_767).astype(np.int32)


def _played(rng: np.random.Generator, kit: list[Float64s], size: int, levels: tuple[float, float]) -> Int32s:
    """Return a pattern of sounds of a kit, each cut off after so many samples and played at a level of its own."""
    out = np.zeros(LENGTH)
    for at in range(0, LENGTH - size, STEP):
        if rng.random() < 0.7:
            out[at : at + size] = kit[rng.integers(len(kit))][:size] * rng.uniform(*levels)
    return _rounded(out)


def _kit(rng: np.random.Generator) -> list[Float64s]:
    """Return a bass drum and a snare drum, still loud where they are cut off."""
    seconds = np.arange(STEP) / 48_000
    sweep = np.sin(2 * np.pi * (50 * seconds + 8 * (1 - np.exp(-30 * seconds)))) * np.exp(-6 * seconds)
    noise = rng.normal(size=STEP) * np.exp(-4 * seconds)
    return [18_000.0 * sweep, 5000.0 * noise]


def _drum_machine(rng: np.random.Generator) -> Int32s:
    return _played(rng, _kit(rng), 5200, (1.0, 1.0))


def _drums_of_many_levels(rng: np.random.Generator) -> Int32s:
    return _played(rng, _kit(rng), 5200, (0.5, 1.2))


def _staccato(rng: np.random.Generator) -> Int32s:
    ramps = [2 * (hertz * np.arange(STEP) / 48_000 % 1) - 1 for hertz in (110.0, 146.8, 220.0, 329.6)]
    return _played(rng, [9000.0 * ramp for ramp in ramps], 3000, (1.0, 1.0))


def _gated(rng: np.random.Generator, opened: int) -> Int32s:
    """Return sound that is there all the time behind a gate that a sequencer opens."""
    out = _dense(rng)
    out[np.arange(LENGTH) % STEP >= opened] = 0
    return out


def _slow_gate(rng: np.random.Generator) -> Int32s:
    return _gated(rng, 3600)


def _fast_gate(rng: np.random.Generator) -> Int32s:
    return _gated(rng, 5000)


def _chopped(rng: np.random.Generator) -> Int32s:
    """Return parts of a take that were cut out of it by hand, with silence between."""
    out, at = _dense(rng), 0
    while at < LENGTH:
        at += int(rng.uniform(5000, 30_000))
        rest = int(rng.uniform(4000, 30_000))
        out[at : at + rest] = 0
        at += rest
    return out


def _dense(rng: np.random.Generator) -> Int32s:
    sound: Int32s = make_tape("dense", 16, LENGTH, rng)[0]
    return sound


@pytest.mark.parametrize("others", [0, 1])
@pytest.mark.parametrize(
    "make", [_drum_machine, _drums_of_many_levels, _staccato, _slow_gate, _fast_gate, _chopped]
)
def test_an_instrument_that_is_cut_off_again_and_again_is_not_muted(
    make: Callable[[np.random.Generator], Int32s], others: int
) -> None:
    """Nothing is told of it where no other pass bears witness, be that the second half alone."""
    told = _told(make(np.random.default_rng(5)), others=others)
    assert [row for row in told if row[2] >= LENGTH // 2 * others] == []


@pytest.mark.parametrize(
    ("make", "at"),
    [(_drum_machine, 96_500), (_drums_of_many_levels, 102_500), (_staccato, 97_500), (_slow_gate, 126_500)],
)
def test_a_mute_inside_a_sound_is_told_of_an_instrument_that_rests(
    make: Callable[[np.random.Generator], Int32s], at: int
) -> None:
    """Silence over a sound that goes on underneath is told, be the instrument cut off as often as it will."""
    sound = make(np.random.default_rng(5))
    # A note sounds there, and the mute begins and ends anywhere in its swing.
    assert min(abs(int(sound[at - 1])), abs(int(sound[at + 300]))) > 1500
    sound[at : at + 300] = 0
    assert _told(sound) == [("mute", 0, at, at + 300)]


def test_a_sound_that_is_cut_off_twice_at_the_same_sample_is_played_so() -> None:
    """Three strokes of a drum leave two rests, too few for their number to tell anything."""
    sound, drum = np.zeros(LENGTH, np.int32), _rounded(_kit(np.random.default_rng(5))[1])
    for at in (50_000, 56_000, 62_000):
        sound[at : at + 5200] = drum[:5200]
    assert _told(sound) == []
    # Other numbers before one of the rests: then nothing shows that it is none.
    sound[55_190:55_200] += 1
    assert _told(sound) == [("mute", 0, at, at + 800) for at in (55_200, 61_200)]


def test_many_mutes_of_sound_that_never_rests_are_all_told() -> None:
    """Forty mutes are the machine's, not the instrument's, where hardly any of them looks like a rest."""
    rng = np.random.default_rng(10)
    sound = _dense(rng)
    sizes = np.exp(rng.uniform(np.log(60), np.log(1900), 40)).astype(int)
    sizes[::7] = 3000
    starts = np.arange(40) * 10_010 + rng.integers(20_000, 25_000, 40)
    for start, size in zip(starts, sizes, strict=True):
        sound[start : start + size] = 0
    assert [kind for kind, *_ in _told(sound)] == ["mute"] * 40


def test_a_few_long_mutes_are_told() -> None:
    """An instrument that rests does so more often."""
    sound = _dense(np.random.default_rng(9))
    places = [(100_000, 106_000), (203_000, 215_000)]
    for start, end in places:
        sound[start:end] = 0
    assert _told(sound) == [("mute", 0, *place) for place in places]


def test_lost_sync_is_told_of_tracks_that_rest() -> None:
    """Three chopped tracks that are muted at once for long prove it to each other, though none does by itself."""
    rng = np.random.default_rng(2)
    tracks = [_chopped(rng) for _ in range(3)]
    for track in tracks:
        track[280_000:320_000] = _dense(rng)[280_000:320_000]
        assert 0 not in track[[299_998, 299_999, 304_000, 304_001]]
        track[300_000:304_000] = 0
    for track in tracks:
        assert _told(track) == []
    assert _told(*tracks) == [("mute", track, 300_000, 304_000) for track in range(3)]


def test_long_mutes_of_a_drum_machine_are_told() -> None:
    """What plays the same numbers again shows each rest twice; what is there only once was done to it."""
    sound, drum = np.zeros(LENGTH, np.int32), _rounded(_kit(np.random.default_rng(5))[1])
    for at in range(0, LENGTH, STEP):
        sound[at : at + 5200] = drum[:5200]
    places = [(at, at + 2500) for at in (60_600, 91_300, 126_900, 152_100, 199_500, 240_700, 302_000)]
    for start, end in places:
        sound[start:end] = 0
    assert _told(sound) == [("mute", 0, *place) for place in places]


def test_short_mutes_are_told_though_the_sound_behind_sets_in_from_zero() -> None:
    """Mutes of a few milliseconds that end where a tone crosses zero are no rests, however many there are."""
    at = np.arange(LENGTH)
    sound = _rounded(9000 * np.sin(at / 61.7) + 3000 * np.sin(at / 23.3))
    crossings = np.flatnonzero((sound[:-1] < 0) & (sound[1:] > 0)) + 1
    ends = [int(crossings[crossings > least][0]) for least in range(50_000, 400_000, 40_000)]
    for end in ends:
        sound[end - 201 : end] = 0
    assert [end for _, _, _, end in _told(sound)] == ends


def _clipped(*, is_faded: bool) -> Int32s:
    """Return a sound that was clipped at 24 bits below the highest level, and perhaps faded thereafter."""
    at = np.arange(LENGTH)
    beats = np.sin(at / 61.7) + 0.6 * np.sin(at / 23.3) + 0.02 * np.random.default_rng(3).normal(size=LENGTH)
    level = 4e6 * np.exp(-at / 300_000) if is_faded else np.full(LENGTH, 4e6)
    return np.rint(np.clip(0.7 * beats, -1, 1) * level).astype(np.int32)


def _clips(sound: Int32s, at: int) -> bool:
    """Return whether sound is clipped for more than a fifth of the time near a place."""
    return float(np.mean(np.diff(sound[at - 512 : at + 602]) == 0)) > 0.2


@pytest.mark.parametrize("is_faded", [True, False])
def test_clipped_peaks_are_neither_held_nor_straight(*, is_faded: bool) -> None:
    """Peaks are cut at one level again and again; a line or a level elsewhere is told beside them."""
    sound = _clipped(is_faded=is_faded)
    assert _told(sound, full_scale=(1 << 23) - 1) == []
    kind = "straight" if is_faded else "hold"
    start = 200_000
    while max(abs(int(sound[start - 1])), abs(int(sound[start + 90]))) > 2e6 or _clips(sound, start):
        start += 1
    end = start + 90
    sound[start:end] = (
        np.rint(np.linspace(sound[start - 1], sound[end], 92))[1:-1] if is_faded else sound[start - 1]
    )
    ((told, _, low, high),) = _told(sound, full_scale=(1 << 23) - 1)
    assert (told, abs(low - start) <= 1, abs(high - end) <= 1) == (kind, True, True)
