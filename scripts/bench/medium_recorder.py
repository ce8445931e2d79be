"""What a recorder and its interface do to what leaves the machine, and what a chain does that is not
transparent.

Sources: Federal Agencies Digital Guidelines Initiative, Audio System Performance: interstitial errors (study
report 2012), samples lost or altered between converter and file in ordinary work at three archives; J.
Watkinson, F. Rumsey, Digital Interface Handbook, 3rd ed. (unlike clocks drop or repeat a sample at even
intervals). Buffers of 64 to 2048 samples: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from scripts.bench.medium_causes import Cause
from scripts.bench.medium_conceal import Made

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from scripts.bench.medium_machine import Heard

SCALE = 24
"""Bits in which captures are held here, whatever the tape's and the files' word length."""


@dataclass
class Capture:
    """One pass as it stands in its files, and the truth about it.

    Args:
        name: of the pass.
        words: shape (tracks, n), in steps of 24 bits.
        made: same shape, what each sample was made as.
        causes: same shape, why.
        place: shape (n,), the tape's sample that each sample stands for.
        locked: shape (n,), whether timecode was read.
        file_bits: 16 or 24.
    """

    name: str
    words: NDArray[np.int32]
    made: NDArray[np.uint8]
    causes: NDArray[np.uint8]
    place: NDArray[np.int64]
    locked: NDArray[np.bool_]
    file_bits: int

    @property
    def slips(self) -> list[int]:
        """Samples of the pass before which some were lost or came twice."""
        return [int(at) for at in np.flatnonzero(np.diff(self.place) != 1) + 1]


def capture(name: str, heard: Heard, bits: int, file_bits: int, start: int, end: int) -> Capture:
    """Return a faultless recording of what was heard from one sample of the tape up to another."""
    part = slice(start, end)
    return Capture(
        name,
        heard.words[:, part] << SCALE - bits,
        heard.made[:, part].copy(),
        heard.causes[:, part].copy(),
        np.arange(start, end),
        heard.locked[part].copy(),
        file_bits,
    )


def disturb(one: Capture, random: np.random.Generator, events: float, rate: int) -> None:
    """Let a recorder spoil a capture, in place, with so many events on average."""
    for _ in range(int(random.poisson(events))):
        length = len(one.place)
        at = int(random.integers(4096, length - 4096))
        size = 1 << int(random.integers(6, 12))
        kind = int(random.integers(6))
        if kind == 0:
            _move(one, [at], lost=size)
        elif kind == 1:
            _move(one, [at], doubled=size)
        elif kind == 2:
            _repeat(one, at, size)
        elif kind == 3:
            first, step = at, int(rate * random.uniform(0.3, 4))
            places = list(range(first, length - 4096, step))[: int(random.integers(1, 9))]
            _move(one, places, **({"lost": 1} if random.random() < 0.5 else {"doubled": 1}))
        elif kind == 4:
            _stick(one, random, at, int(np.exp(random.uniform(np.log(200), np.log(100_000)))))
        else:
            track = int(random.integers(len(one.words)))
            wrong = int(random.integers(-(1 << 15), 1 << 15)) << SCALE - 16
            _set(one, (track, slice(at, at + 1)), np.array([wrong], np.int32), Made.WORD, Cause.WRONG_WORD)


def _move(one: Capture, places: list[int], *, lost: int = 0, doubled: int = 0) -> None:
    """Lose samples at places of the capture, or take them twice."""
    pieces: list[NDArray[np.int64]] = []
    taken = 0
    for at in places:
        pieces.append(np.arange(taken, at + doubled))
        taken = at + lost
    pieces.append(np.arange(taken, len(one.place)))
    index = np.concatenate(pieces)
    one.words, one.made = one.words[:, index], one.made[:, index]
    one.causes, one.place, one.locked = one.causes[:, index], one.place[index], one.locked[index]


def _repeat(one: Capture, at: int, size: int) -> None:
    """Let a buffer be written a second time in the place of the next one."""
    for track in range(len(one.words)):
        earlier = one.words[track, at - size : at].copy()
        _set(one, (track, slice(at, at + size)), earlier, Made.REPEAT, Cause.BUFFER_REPEATED)


def _stick(one: Capture, random: np.random.Generator, at: int, size: int) -> None:
    """Let one bit of one track stand still."""
    track, bit = int(random.integers(len(one.words))), 1 << int(random.integers(SCALE - 14, SCALE - 1))
    part = slice(at, at + size)
    words = one.words[track, part]
    stuck = words | bit if random.random() < 0.5 else words & ~bit
    _set(one, (track, part), stuck, Made.BIT, Cause.STUCK_BIT)


def _set(one: Capture, where: tuple[int, slice], words: NDArray[np.int32], made: Made, cause: Cause) -> None:
    track, part = where
    changed = one.words[track, part] != words
    one.words[track, part] = words
    one.made[track, part][changed] = made
    one.causes[track, part][changed] = cause


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
