"""Passes that run along and are nowhere identical are found where all their tracks are alike."""

from __future__ import annotations

import numpy as np

from assembler.aligner.place.along.alike import find_alike
from scripts.bench.trial_sessions import ArrayAudio


def test_a_steady_tone_does_not_tell_the_place_alone() -> None:
    """It is as like itself a period off as in its place; the other tracks say where the pass lies."""
    rng = np.random.default_rng(8)
    tone = np.rint(3e6 * np.sin(2 * np.pi * np.arange(200_000) / 48.0))
    noises = np.rint(4e4 * rng.normal(size=(2, 200_000)))
    tape = np.stack([tone, *noises]).astype(np.int32)
    shorter = (tape[:, 1000:] >> 8) << 8
    found = find_alike(ArrayAudio(tape), ArrayAudio(shorter), (0, 190_000), 1500, 2400)
    assert found is not None
    assert found.relation.stretches[0].shift == 1000
    assert found.likeness > 0


def test_a_pass_that_is_inverted_is_told_by_its_sign() -> None:
    """It runs along as well, the other way up."""
    tape = np.rint(4e4 * np.random.default_rng(8).normal(size=(2, 100_000))).astype(np.int32)
    shorter = (-tape[:, 1000:] >> 8) << 8
    found = find_alike(ArrayAudio(tape), ArrayAudio(shorter), (0, 90_000), 1500, 2400)
    assert found is not None
    assert found.relation.stretches[0].shift == 1000
    assert found.likeness < 0
