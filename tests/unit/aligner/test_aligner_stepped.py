"""Square and pulse waves as one capture shows them: what interrupts them, and what a synthesizer does by nature."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.compare.lone import flaws_alone
from assembler.aligner.comparison import compare_reel
from assembler.aligner.events.lone import told_together
from assembler.aligner.flaws.stepped import interruptions
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, ReelFindings
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import map_with_slips
from scripts.bench.trial_sessions import ArrayAudio, make_tape

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.arrays import Int32s

WHY = Because(Rule.OUTVOTED)

LENGTH = 60_000
LEVEL = 9000
PERIODS = (53.0, 109.31, 400.7)


def _pulse(period: float, *, width: float = 0.5, phase: float = 0.0, size: int = LENGTH) -> Int32s:
    """Return a pulse wave by its phase at each sample, as a synthesizer's counter makes it."""
    turns = (np.arange(size) / period + phase) % 1.0
    return np.where(turns < width, LEVEL, -LEVEL).astype(np.int32)


def _spoiled(wave: Int32s, kind: str, start: int, end: int) -> Int32s:
    spoiled, size = wave.copy(), end - start
    rng = np.random.default_rng(5)
    if kind == "straight":
        spoiled[start:end] = np.rint(np.linspace(wave[start - 1], wave[end], size + 2)[1:-1])
    else:
        spoiled[start:end] = {
            "mute": np.zeros(size),
            "hold": np.full(size, 1234),
            "repeat": wave[start - size : start],
            "burst": rng.integers(-7000, 7000, size),
            "click": wave[start:end] + 700,
        }[kind]
    return spoiled


@pytest.mark.parametrize("width", [0.5, 0.2])
@pytest.mark.parametrize("period", PERIODS)
@pytest.mark.parametrize(
    ("kind", "size"),
    [
        ("mute", 60),
        ("mute", 1800),
        ("hold", 90),
        ("straight", 150),
        ("repeat", 777),
        ("burst", 500),
        ("click", 3),
    ],
)
def test_what_interrupts_a_wave_that_goes_on_in_phase_is_told(
    kind: str, size: int, period: float, width: float
) -> None:
    """A flaw is told once, with its kind, and as wide as samples are wrong, but for those an edge may hide."""
    wave = _pulse(period, width=width)
    # A straight line joins two levels here.
    start = next(at for at in range(30_000, 31_000) if wave[at - 1] != wave[at + size])
    spoiled = _spoiled(wave, kind, start, start + size)
    ((found, (low, high)),) = interruptions(spoiled, 1)
    wrong = np.flatnonzero(spoiled != wave)
    assert found == kind
    assert low == pytest.approx(wrong[0], abs=3)
    assert high == pytest.approx(wrong[-1] + 1, abs=3)


def _retriggered(rng: np.random.Generator) -> Int32s:
    """Return notes of one pitch that set in anew, somewhere in their period, after short rests."""
    out = np.zeros(LENGTH, np.int32)
    for at in range(0, LENGTH - 5000, 4000):
        out[at + int(rng.integers(300)) : at + 3600] = 1
        out[at : at + 3600] *= _pulse(187.3, phase=rng.uniform(), size=3600)
    return out


def _trill(_rng: np.random.Generator) -> Int32s:
    """Return two pitches in turn, of one level, both counted on without a break."""
    turn = np.arange(LENGTH) // 1700 % 2
    return np.choose(turn, (_pulse(151.7), _pulse(134.9))).astype(np.int32)


def _broken_phase(rng: np.random.Generator) -> Int32s:
    """Return one pitch that begins anew somewhere in its period, without a rest."""
    return np.concatenate([_pulse(187.3, phase=rng.uniform(), size=3000) for _ in range(20)])


def _glide(_rng: np.random.Generator) -> Int32s:
    """Return a wave whose pitch and width change slowly."""
    phase = np.cumsum(1 / np.linspace(300, 80, LENGTH))
    width = 0.5 + 0.3 * np.sin(np.arange(LENGTH) / 5000)
    return np.where(phase % 1.0 < width, LEVEL, -LEVEL).astype(np.int32)


def _swept_level(_rng: np.random.Generator) -> Int32s:
    """Return notes whose level falls in steps, as a volume of four bits does."""
    volume = 15 - np.arange(LENGTH) // 800 % 16
    return (_pulse(120.4) * volume // 15).astype(np.int32)


def _telegraph(rng: np.random.Generator) -> Int32s:
    """Return the two-level noise of a shift register."""
    return np.repeat(rng.choice([-LEVEL, LEVEL], LENGTH // 6), 6).astype(np.int32)


def _clipped_sine(_rng: np.random.Generator) -> Int32s:
    sine = np.rint(90_000 * np.sin(2 * np.pi * np.arange(LENGTH) / 331.7)).astype(np.int32)
    clipped: Int32s = np.clip(sine, -32_768, 32_767)
    return clipped


def _faded(_rng: np.random.Generator) -> Int32s:
    """Return a wave that fades to silence and is then cut to nothing."""
    shape = np.clip(np.linspace(1.5, -0.3, LENGTH), 0.0, 1.0)
    return np.rint(_pulse(120.4) * shape).astype(np.int32)


@pytest.mark.parametrize(
    "make",
    [_retriggered, _trill, _broken_phase, _glide, _swept_level, _telegraph, _clipped_sine, _faded],
)
def test_what_a_synthesizer_does_by_nature_is_not_told(make: Callable[[np.random.Generator], Int32s]) -> None:
    """Rests, trills, glides, steps of level, noise of two levels, clipping and fades interrupt nothing."""
    for seed in range(4):
        assert interruptions(make(np.random.default_rng(seed)), 1) == []


def test_good_tapes_show_no_interruption() -> None:
    """Nothing is told of notes of square waves with rests, of many pitches and levels."""
    for seed in range(6):
        for track in make_tape("square", 16 + 8 * (seed % 2), 200_000, np.random.default_rng(seed)):
            assert interruptions(track, 1) == []


def _one_pass(tracks: Sequence[Int32s]) -> PlacedPass:
    samples = np.stack(tracks)
    maps = (map_with_slips(samples.shape[1], 0, ()),) * len(tracks)
    return PlacedPass("P1", ArrayAudio(samples), maps)


@pytest.mark.parametrize("passes", [1, 2])
def test_rests_between_notes_are_neither_mutes_nor_holds(passes: int) -> None:
    """Notes that stop and set in at full level are told neither of one pass nor as what two of them agree on."""
    tape = make_tape("square", 16, 300_000, np.random.default_rng(6))
    placed = [replace(_one_pass(list(tape)), name=f"P{number + 1}") for number in range(passes)]
    with ThreadPoolExecutor(1) as executor:
        findings = compare_reel(placed, range(len(tape)), 1, 32_767, executor, lambda _: None)
    assert replace(findings, lookalikes=()) == ReelFindings(())


def test_a_tail_in_coarse_steps_is_not_muted_at_zero() -> None:
    """Notes made louder by six after they were captured die away in steps of six; zero is one of their levels."""
    tape = 6 * make_tape("sparse", 16, 400_000, np.random.default_rng([501, 1]))[:1, 280_000:330_000]
    with ThreadPoolExecutor(1) as executor:
        findings = compare_reel([_one_pass(list(tape))], [0], 1, (1 << 23) - 1, executor, lambda _: None)
    assert replace(findings, lookalikes=()) == ReelFindings(())


def _gated(places: Sequence[int], size: int) -> Int32s:
    wave = _pulse(120.4)
    for at in places:
        wave[at : at + size] = 0
    return wave


def test_rests_over_an_oscillator_that_runs_on_are_no_mutes() -> None:
    """A few short pauses in phase are mutes; many, or a long one, are how the instrument is played."""
    few = _alone([_gated([9000, 40_000], 700)], 0)
    assert few == ([FoundFlaw("P1", 0, "mute", at, at + 700, because=WHY) for at in (9000, 40_000)], [])
    assert _alone([_gated(range(4000, 50_000, 6000), 700)], 0) == ([], [])
    assert _alone([_gated([9000], 3000)], 0) == ([], [FoundFlaw("P1", 0, "mute", 9000, 12_000, because=WHY)])


def _alone(tracks: Sequence[Int32s], track: int) -> tuple[list[FoundFlaw], list[FoundFlaw]]:
    return flaws_alone([_one_pass(tracks)], track, 1, {})[:2]


def _together(tracks: Sequence[Int32s]) -> list[tuple[int, str, int, int]]:
    one = _one_pass(tracks)
    flaws: list[FoundFlaw] = []
    doubtful: list[FoundFlaw] = []
    for track in range(len(tracks)):
        told, open_places = _alone(tracks, track)
        flaws += told
        doubtful += open_places
    found = told_together([one], range(len(tracks)), flaws, doubtful)
    return sorted((flaw.track, flaw.kind, flaw.start, flaw.end) for flaw in found)


def test_a_long_pause_of_three_tracks_at_once_is_lost_sync() -> None:
    """Three waves that stop together for long and go on in phase were muted; two may have rested."""
    waves = [_pulse(period) for period in (120.4, 97.3, 203.9)]
    for wave in waves:
        wave[30_000:34_000] = 0
    assert _together(waves) == [(track, "mute", 30_000, 34_000) for track in range(3)]
    assert _together(waves[:2]) == []


def test_lost_sync_is_told_on_a_track_that_shows_nothing_by_itself() -> None:
    """Where a note ends within, and in silence, a level between the samples of the others belongs to them."""
    start, end = 30_000, 30_400
    border = np.concatenate((_pulse(120.4, size=30_200), np.zeros(LENGTH - 30_200, np.int32)))
    later = np.concatenate((_pulse(120.4, size=30_200), _pulse(77.7, size=LENGTH - 30_200) // 2))
    steady = [_pulse(period) for period in (131.4, 97.3, 203.9)]
    lost = [_spoiled(wave, "hold", start, end) for wave in [*steady, border, later]]
    told = _together([*lost, later])
    assert told == [(track, "hold", start, end) for track in (3, 4)]


def test_lost_sync_is_told_on_a_track_of_other_sound() -> None:
    """Noise between the samples at which three square waves were lost belongs to them on a smooth track too."""
    steady = [_pulse(period) for period in (131.4, 97.3, 203.9)]
    smooth = make_tape("tones", 16, LENGTH, np.random.default_rng(2))[0]
    lost = [_spoiled(wave, "burst", 30_000, 30_030) for wave in [*steady, smooth]]
    assert _alone(lost, 3) == ([], [])
    assert _together(lost) == [(3, "burst", 30_000, 30_030)]
    assert _together([*lost[:3], smooth]) == []


def test_a_band_that_stops_and_goes_on_is_no_flaw() -> None:
    """All tracks stop at one sample, and all begin anew at one sample, as after a full stop of the band."""
    rng = np.random.default_rng(3)
    tracks = []
    for period in (120.4, 97.3, 203.9, 150.1):
        wave = _pulse(period)
        wave[30_000:34_000] = 0
        wave[34_000:] = _pulse(period, phase=rng.uniform(0.2, 0.8), size=LENGTH - 34_000)
        tracks.append(wave)
    assert _together(tracks) == []
