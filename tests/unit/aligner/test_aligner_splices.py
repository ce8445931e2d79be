"""Where a capture is spliced, told from its own sound."""

from __future__ import annotations

import numpy as np
import pytest

from assembler.aligner.place.slips.splices import outstanding, splice_surprise
from assembler.aligner.sound.limits import FIT_SAMPLES
from scripts.bench.trial_sessions import make_tape

AT = 5000
SIZE = 12000


def _tracks(character: str, seed: int) -> list[np.ndarray]:
    return list(make_tape(character, 24, 4 * SIZE, np.random.default_rng(seed)))


def _lost(tracks: list[np.ndarray], samples: int) -> list[np.ndarray]:
    return [np.concatenate((track[:AT], track[AT + samples :]))[:SIZE] for track in tracks]


@pytest.mark.parametrize("lost", [40, 126, -412, 2200])
@pytest.mark.parametrize("character", ["dense", "tones", "loop"])
def test_a_splice_of_all_tracks_is_found_to_the_sample(character: str, lost: int) -> None:
    """Samples lost or repeated on all tracks at once break each of them between the same two samples."""
    assert outstanding(splice_surprise(_lost(_tracks(character, 11), lost))) == AT


@pytest.mark.parametrize("character", ["sparse", "dense", "tones", "quiet", "square", "loop"])
def test_good_sound_shows_no_splice(character: str) -> None:
    """Strokes, edges and noise of one track are no splice: the tracks do not break at one sample."""
    for seed in range(6):
        assert outstanding(splice_surprise([track[:SIZE] for track in _tracks(character, seed)])) is None


@pytest.mark.parametrize("kind", ["mute", "hold", "noise", "soft noise"])
def test_the_ends_of_a_flaw_of_all_tracks_are_no_splice(kind: str) -> None:
    """Nothing is known on one side of a mute, of a level held and of noise."""
    rng = np.random.default_rng(5)
    tracks = [track[:SIZE].copy() for track in _tracks("tones", 12)]
    for track in tracks:
        size = AT - 3000
        track[3000:AT] = {
            "mute": np.zeros(size),
            "hold": np.full(size, track[2999]),
            "noise": rng.integers(-(1 << 20), 1 << 20, size),
            "soft noise": rng.integers(-(1 << 14), 1 << 14, size),
        }[kind]
    assert outstanding(splice_surprise(tracks)) is None


def test_a_splice_beside_noise_of_all_tracks_is_found() -> None:
    """What else is wrong with the capture around does not hide it."""
    tracks = _lost(_tracks("dense", 13), 300)
    for track in tracks:
        track[2000:3500] = np.random.default_rng(3).integers(-(1 << 21), 1 << 21, 1500)
    assert outstanding(splice_surprise(tracks)) == AT


def test_two_splices_are_none() -> None:
    """Where two places stand out nothing is said."""
    tracks = [
        np.concatenate((t[:AT], t[AT + 200 : AT + 3000], t[AT + 3300 :]))[:SIZE] for t in _tracks("dense", 14)
    ]
    assert outstanding(splice_surprise(tracks)) is None


def test_nothing_is_said_of_the_margins() -> None:
    """Beside the ends nothing is known of one side."""
    surprise = splice_surprise(_lost(_tracks("tones", 15), 100))
    assert not surprise[:FIT_SAMPLES].any()
    assert not surprise[-FIT_SAMPLES:].any()
