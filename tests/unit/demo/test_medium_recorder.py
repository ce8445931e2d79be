"""What a recorder does to a capture, and the truth that is kept of it."""

from __future__ import annotations

import numpy as np

from assembler.demo.medium.concealment import Made
from assembler.demo.medium.machine import Heard
from assembler.demo.medium.recorder import Capture, capture, move, repeat


def clean_capture(length: int = 6000) -> Capture:
    """Return a capture of two tracks that count."""
    words = np.stack([np.arange(length), np.arange(length) + 7]).astype(np.int32)
    none = np.zeros(words.shape, np.uint8)
    return capture("A1", Heard(words, none, none, np.ones(length, np.bool_)), 16, 24, 100, length)


def test_lost_and_doubled_samples_move_what_follows() -> None:
    """A lost buffer is a gap in the places, a doubled one stands at its places twice; all stay the tape's numbers."""
    one = clean_capture()
    move(one, [1000], lost=64)
    move(one, [3000], doubled=128)
    assert len(one.place) == 5900 - 64 + 128
    assert one.slips == [1000, 3128]
    assert (one.words[0] == one.place << 8).all()


def test_a_repeated_buffer_replaces_the_next_one() -> None:
    """Nothing moves; the samples are another place's."""
    one = clean_capture()
    repeat(one, 2000, 64)
    assert one.slips == []
    assert (one.words[:, 2000:2064] == one.words[:, 1936:2000]).all()
    assert np.flatnonzero(one.words[0] != one.place << 8).tolist() == list(range(2000, 2064))
    assert (one.made[:, 2000:2064] == Made.REPEAT).all()
