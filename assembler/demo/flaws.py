"""Flaws that a worn tape or machine leaves in a capture, put into a copy of what the tape holds.

The kinds are those of the deliverable set's record: mute, hold, straight, repeat, click, burst.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from assembler.arrays import Int32s

_CLICK_STEPS: Final = 24_000
_BURST_STEPS: Final = 22_000


@dataclass(frozen=True)
class Flaw:
    """A stretch that is not what was recorded.

    Args:
        kind: a key of ``KINDS``.
        start: first sample, counted from the tape's first sample.
        end: one past the last sample.
        tracks: places in tape order, from 0.
    """

    kind: str
    start: int
    end: int
    tracks: tuple[int, ...]


def apply_flaws(samples: Int32s, flaws: Iterable[Flaw], generator: np.random.Generator) -> Int32s:
    """Return a copy of a tape's samples, shape (samples, tracks), with the flaws in it.

    Every flaw is at least one sample into the tape and ends before its last, since a fault shows only against
    the sound around it. A repeat needs its own length before it.
    """
    flawed = samples.copy()
    for flaw in flaws:
        for track in flaw.tracks:
            flawed[flaw.start : flaw.end, track] = KINDS[flaw.kind](flawed[:, track], flaw, generator)
    return flawed


def _mute(_track: Int32s, flaw: Flaw, _generator: np.random.Generator) -> Int32s:
    return np.zeros(flaw.end - flaw.start, np.int32)


def _hold(track: Int32s, flaw: Flaw, _generator: np.random.Generator) -> Int32s:
    return np.full(flaw.end - flaw.start, track[flaw.start - 1], np.int32)


def _straight(track: Int32s, flaw: Flaw, _generator: np.random.Generator) -> Int32s:
    """Draw the line between the last good sample before and the first after."""
    places = np.arange(flaw.start, flaw.end)
    ends = track[[flaw.start - 1, flaw.end]]
    return np.rint(np.interp(places, [flaw.start - 1, flaw.end], ends)).astype(np.int32)


def _repeat(track: Int32s, flaw: Flaw, _generator: np.random.Generator) -> Int32s:
    length = flaw.end - flaw.start
    return track[flaw.start - length : flaw.start].copy()


def _click(track: Int32s, flaw: Flaw, _generator: np.random.Generator) -> Int32s:
    """Throw the samples far to the side where there is room, so that nothing clips."""
    clean = track[flaw.start : flaw.end]
    return np.where(clean < 0, clean + _CLICK_STEPS, clean - _CLICK_STEPS).astype(np.int32)


def _burst(_track: Int32s, flaw: Flaw, generator: np.random.Generator) -> Int32s:
    return generator.integers(-_BURST_STEPS, _BURST_STEPS, flaw.end - flaw.start, dtype=np.int32)


KINDS: Final[dict[str, Callable[[Int32s, Flaw, np.random.Generator], Int32s]]] = {
    "mute": _mute,
    "hold": _hold,
    "straight": _straight,
    "repeat": _repeat,
    "click": _click,
    "burst": _burst,
}
