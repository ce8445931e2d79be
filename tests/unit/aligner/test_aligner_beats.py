"""Whether music keeps the time at which places follow one another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.timemap import map_with_slips
from assembler.aligner.sound.rhythm import keeps_time
from scripts.bench.trial_sessions import ArrayAudio, make_tape
from scripts.bench.trial_sounds import CHARACTERS

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s

RATE, LENGTH = 48_000, 1_000_000


def _keeps(sound: Int32s, places: list[Range], interval: float) -> bool:
    one = PlacedPass("P1", ArrayAudio(sound[None]), (map_with_slips(LENGTH, 0, ()),))
    return keeps_time(one, [0], places, interval, RATE)


def _places(interval: float, sound: Int32s) -> list[Range]:
    """Return places at an interval, all of them muted."""
    places = [(int(at), int(at) + 400) for at in np.arange(5000.0, LENGTH - 5000, interval)]
    for start, end in places:
        sound[start:end] = 0
    return places


def _beats(rng: np.random.Generator, beat: int) -> Int32s:
    """Return drums on most beats, no two of them of one level."""
    out = np.zeros(LENGTH)
    stroke = np.exp(-np.arange(4000) / 900.0)
    for at in range(0, LENGTH - 4000, beat):
        if rng.random() < 0.7:
            out[at : at + 4000] = stroke * rng.normal(scale=rng.uniform(1000, 6000), size=4000)
    return np.rint(out).astype(np.int32)


@pytest.mark.parametrize("character", [one for one in CHARACTERS if one != "loop"])
@pytest.mark.parametrize("interval", [1600.4, 9600.0, 23_111.1])
def test_mutes_at_a_pace_are_no_beats(character: str, interval: float) -> None:
    """Mutes at a steady pace do not make the music's own, of whatever kind it is and however fast they come."""
    for sound in make_tape(character, 16, LENGTH, np.random.default_rng(3))[:2]:
        assert not _keeps(sound, _places(interval, sound), interval)


@pytest.mark.parametrize("beat", [6000, 11_520, 24_000])
def test_music_keeps_its_own_time_and_no_other(beat: int) -> None:
    """Drums keep their beat and a bar of beats, not the turns of a machine."""
    for seed in range(3):
        sound = _beats(np.random.default_rng(seed), beat)
        few = [(beat * k + 3000, beat * k + 3300) for k in (2, 9, 15, LENGTH // beat - 2)]
        assert _keeps(sound, few, beat)
        assert _keeps(sound, few, beat / 2)
        for interval in (1600.0, 0.37 * beat, 1.23 * beat):
            assert not _keeps(sound, few, interval)
