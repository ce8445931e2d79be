"""Silences between the same samples of several tracks of a lone pass: lost sync, or how the band plays."""

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

AT = 235_450
"""Between two beats, where all that is made here sounds for a while."""


def _told(tracks: Int32s) -> list[tuple[str, int, int, int]]:
    """Return the flaws of one pass, as kind, track, start and end."""
    one = PlacedPass("P", ArrayAudio(tracks), (map_with_slips(LENGTH, 0, ()),) * len(tracks))
    with ThreadPoolExecutor(1) as executor:
        found = compare_reel([one], range(len(tracks)), 1, 32_767, executor, lambda _: None)
    return [(flaw.kind, flaw.track, flaw.start, flaw.end) for flaw in found.flaws]


def _dense(rng: np.random.Generator, count: int) -> Int32s:
    return np.stack([make_tape("dense", 16, LENGTH, rng)[0] for _ in range(count)])


def _drum_machine(rng: np.random.Generator, count: int) -> Int32s:
    """Return sounds of a drum machine on tracks of their own, each stroke at its own level and cut off by the next."""
    seconds = np.arange(5200) / 48_000
    out: Float64s = np.zeros((count, LENGTH))
    for track in range(count):
        noise = rng.normal(size=5200) * np.exp(-4 * seconds)
        drum = 15_000 * np.sin(2 * np.pi * (60 + 10 * track) * seconds) * np.exp(-5 * seconds) + 100 * noise
        for at in range(0, LENGTH - STEP, STEP):
            if rng.random() < 0.6 or abs(at - AT) < STEP:
                out[track, at : at + 5200] = drum * rng.uniform(0.5, 1.2)
    return np.rint(out).astype(np.int32)


def _gated(rng: np.random.Generator, count: int) -> Int32s:
    out = _dense(rng, count)
    out[:, np.arange(LENGTH) % STEP >= 4700] = 0
    return out


def _stopped_by_hand(rng: np.random.Generator, count: int) -> Int32s:
    """Return a band that stops as one, now and then, and sets in again from zero with strokes that ring down."""
    out = _dense(rng, count).astype(np.float64)
    starts = np.arange(9) * 48_000 + rng.integers(30_000, 44_000, 9)
    for start in starts[starts < LENGTH - 40_000]:
        end = start + int(rng.integers(6000, 20_000))
        out[:, start:end] = 0
        out[:, end : end + 9600] *= np.minimum(np.arange(9600) / 8, 1 + 7 * np.exp(-np.arange(9600) / 1500))
    return np.clip(np.rint(out), -32_768, 32_767).astype(np.int32)


@pytest.mark.parametrize("beside", [0, 3])
@pytest.mark.parametrize("make", [_drum_machine, _gated, _stopped_by_hand])
def test_what_tracks_do_together_again_and_again_is_no_lost_sync(
    make: Callable[[np.random.Generator, int], Int32s], beside: int
) -> None:
    """Nothing is told of a clean pass, be it that all its tracks stop at once or that some sound on."""
    rng = np.random.default_rng(5)
    tracks = make(rng, 5)
    if beside:
        tracks = np.concatenate((tracks, _dense(rng, beside)))
    assert _told(tracks) == []


@pytest.mark.parametrize("kind", ["mute", "hold", "burst"])
@pytest.mark.parametrize("make", [_drum_machine, _gated])
def test_lost_sync_is_told_of_tracks_that_stop_together(
    make: Callable[[np.random.Generator, int], Int32s], kind: str
) -> None:
    """What takes all tracks between the same samples is told on each, whatever some of them do elsewhere."""
    rng, size = np.random.default_rng(5), 2900
    tracks = np.concatenate((make(rng, 5), _dense(rng, 3)))
    inner = tracks[:, AT : AT + size]
    assert (np.ptp(inner, axis=1) > 1000).all()
    noise = rng.integers(-16_000, 16_000, inner.shape)
    inner[:] = tracks[:, AT - 1 : AT] if kind == "hold" else noise if kind == "burst" else 0
    told = _told(tracks)
    assert {track for _, track, start, end in told if abs(start - AT) < 3 and end >= AT + size - 2} == set(
        range(8)
    )
    assert all(start >= AT - 2 and start <= AT + size for _, _, start, _ in told)


def _each_for_itself(rng: np.random.Generator, times: int) -> Int32s:
    """Return three chopped tracks that are silent together so many times, beside one that sounds on."""
    tracks = _dense(rng, 4)
    for track in tracks[:3]:
        for at in range(0, LENGTH - STEP, 40_000):
            start = at + int(rng.integers(0, 9000))
            track[start : start + int(rng.integers(4000, 9000))] = 0
    for at in np.arange(times) * 40_000 + rng.integers(24_000, 28_000, times):
        tracks[:3, at : at + 5000] = 0
    return tracks


def test_a_flaw_of_some_tracks_is_told_once_but_not_again_and_again() -> None:
    """A track that sounds on says that sync was not lost: three others are flawed at once, or played so."""
    told = _told(_each_for_itself(np.random.default_rng(4), 1))
    assert [(kind, track, end - start) for kind, track, start, end in told] == [
        ("mute", track, 5000) for track in range(3)
    ]
    assert _told(_each_for_itself(np.random.default_rng(4), 9)) == []


def test_a_band_that_stops_now_and_then_only_has_lost_sync() -> None:
    """Four long silences of all tracks that rest elsewhere, each for itself, are told; the tape proves no habit."""
    tracks = _each_for_itself(np.random.default_rng(4), 4)[:3]
    told = _told(tracks)
    assert len(told) == 12
    assert {end - start for _, _, start, end in told} == {5000}
