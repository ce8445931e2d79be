"""Noise of a few steps and noise in silence as one capture shows them: what is a flaw, and what is played."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.compare.lone import flaws_alone
from assembler.aligner.flaws.faint import faint_flaws
from assembler.aligner.flaws.noise import islands
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import map_with_slips
from scripts.bench.trial_sessions import ArrayAudio, make_tape
from scripts.bench.trial_sounds import CHARACTERS

if TYPE_CHECKING:
    from assembler.arrays import Int32s

LENGTH = 60_000


def _noise(level: float, seed: int = 3) -> Int32s:
    return np.rint(np.random.default_rng(seed).normal(scale=level, size=LENGTH)).astype(np.int32)


@pytest.mark.parametrize("level", [0.8, 2.0, 4.0])
@pytest.mark.parametrize(("kind", "size"), [("mute", 900), ("hold", 90), ("straight", 90)])
def test_what_interrupts_faint_noise_is_told(kind: str, size: int, level: float) -> None:
    """A flaw is told with its kind, and its place to the few samples that are right by chance."""
    noise = _noise(level)
    start, end = 30_000, 30_000 + size
    noise[start:end] = {
        "mute": np.zeros(size),
        "hold": np.full(size, 2),
        "straight": np.rint(np.linspace(-2.4, 2.4, size)),
    }[kind]
    ((found, (low, high)),) = faint_flaws(noise, 1)
    assert found == kind
    assert low == pytest.approx(start, abs=8)
    assert high == pytest.approx(end, abs=8)


@pytest.mark.parametrize("character", CHARACTERS)
def test_good_sound_of_any_character_shows_none_of_it(character: str) -> None:
    """Nothing is told of what a tape holds."""
    for bits in (16, 24):
        for track in make_tape(character, bits, 200_000, np.random.default_rng(bits)):
            assert faint_flaws(track, 1) == []
            assert islands(track, 1) == []


def test_noise_that_swells_fades_or_loops_is_no_flaw() -> None:
    """Noise that fades to nothing and back, a sample of noise played on and on, and a slow wave are all played."""
    at = np.arange(LENGTH)
    faded = np.rint(_noise(3.0) * np.abs(np.cos(at / 9000.0))).astype(np.int32)
    looped = np.resize(_noise(3.0)[:700], LENGTH)
    slow = np.rint(12 * np.sin(at / 700.0)).astype(np.int32)
    silent = np.where((at > 20_000) & (at < 45_000), 0, _noise(3.0)).astype(np.int32)
    for sound in (faded, looped, slow, silent):
        assert faint_flaws(sound, 1) == []


def _struck(sizes: list[int], dies: float = 0.0) -> Int32s:
    """Return noise in silence, in blocks of given sizes that may die away."""
    out = np.zeros(LENGTH)
    rng = np.random.default_rng(8)
    for at, size in zip(range(3000, LENGTH, 7000), sizes, strict=False):
        out[at : at + size] = rng.uniform(-8000, 8000, size) * np.exp(-dies * np.arange(size) / size)
    return np.rint(out).astype(np.int32)


def test_noise_in_silence_is_left_to_other_tracks() -> None:
    """On one track alone it may be an instrument; what comes again and again or dies away is one for certain."""

    def told(track: Int32s) -> tuple[list[tuple[str, int, int]], int]:
        one = PlacedPass("P1", ArrayAudio(track[None]), (map_with_slips(LENGTH, 0, ()),))
        lone = flaws_alone([one], 0, 1, {})
        return [(flaw.kind, flaw.start, flaw.end) for flaw in lone.told], len(lone.open_places)

    assert told(_struck([500])) == ([], 1)
    assert told(_struck([500] * 6)) == ([], 0)
    assert told(_struck([3500])) == ([], 1)
    assert told(_struck([1500], dies=4.0)) == ([], 0)
