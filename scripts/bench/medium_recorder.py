"""What a recorder does to a capture by chance, and what a chain does that is not transparent.

The events themselves are the package's own, ``assembler.demo.medium.recorder``, where its sources stand; a bit that
stands still and a chain that is not transparent are found here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.demo.medium.causes import Cause
from assembler.demo.medium.concealment import Made
from assembler.demo.medium.recorder import SCALE, move, put, repeat

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assembler.demo.medium.recorder import Capture


def disturb(one: Capture, random: np.random.Generator, events: float, rate: int) -> None:
    """Let a recorder spoil a capture, in place, with so many events on average."""
    for _ in range(int(random.poisson(events))):
        length = len(one.place)
        at = int(random.integers(4096, length - 4096))
        size = 1 << int(random.integers(6, 12))
        kind = int(random.integers(6))
        if kind == 0:
            move(one, [at], lost=size)
        elif kind == 1:
            move(one, [at], doubled=size)
        elif kind == 2:
            repeat(one, at, size)
        elif kind == 3:
            first, step = at, int(rate * random.uniform(0.3, 4))
            places = list(range(first, length - 4096, step))[: int(random.integers(1, 9))]
            move(one, places, **({"lost": 1} if random.random() < 0.5 else {"doubled": 1}))
        elif kind == 4:
            _stick(one, random, at, int(np.exp(random.uniform(np.log(200), np.log(100_000)))))
        else:
            track = int(random.integers(len(one.words)))
            wrong = int(random.integers(-(1 << 15), 1 << 15)) << SCALE - 16
            put(one, (track, slice(at, at + 1)), np.array([wrong], np.int32), Made.WORD, Cause.WRONG_WORD)


def _stick(one: Capture, random: np.random.Generator, at: int, size: int) -> None:
    """Let one bit of one track stand still."""
    track, bit = int(random.integers(len(one.words))), 1 << int(random.integers(SCALE - 14, SCALE - 1))
    part = slice(at, at + size)
    words = one.words[track, part]
    stuck = words | bit if random.random() < 0.5 else words & ~bit
    put(one, (track, part), stuck, Made.BIT, Cause.STUCK_BIT)


def pass_through(one: Capture, random: np.random.Generator, bits: int) -> str:
    """Send a capture through a chain that is not transparent, in place; return what it did."""
    kind = ("dither", "gain", "delay", "mix")[random.integers(4)]
    step = 1 << SCALE - bits
    sound = one.words.astype(np.float64)
    if kind == "gain":
        sound *= random.uniform(0.7, 0.98)
    elif kind == "delay":
        sound = np.stack([_delayed(track, random.uniform(0.2, 0.8)) for track in sound])
    elif kind == "mix":
        sound = sound + 10 ** (-random.uniform(30, 50) / 20) * np.roll(sound, 1, axis=0)
    noise = random.random(sound.shape) + random.random(sound.shape) - 1
    largest = (1 << SCALE - 1) - step
    one.words = np.clip(np.rint(sound / step + noise) * step, -largest, largest).astype(np.int32)
    untold = one.made == Made.TAPE
    one.made[untold], one.causes[untold] = Made.WORD, Cause.CHAIN
    return kind


def _delayed(track: NDArray[np.float64], by: float) -> NDArray[np.float64]:
    at = np.arange(-31, 33)
    taps = np.sinc(at - by) * np.hanning(66)[1:-1]
    return np.asarray(np.convolve(track, taps / taps.sum(), mode="full")[31 : 31 + len(track)])
