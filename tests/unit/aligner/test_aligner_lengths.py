"""Lengths of transforms, against scipy's own choice."""

from __future__ import annotations

from scipy.fft import next_fast_len

from assembler.aligner.sound.levels import quick_length


def test_quick_lengths_are_those_of_scipy() -> None:
    """The least product of twos, threes and fives is what scipy takes for real sound."""
    assert [quick_length(least) for least in range(1, 20_000)] == [
        next_fast_len(least, real=True) for least in range(1, 20_000)
    ]
