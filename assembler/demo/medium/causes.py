"""What keeps blocks of a tape from being read: clogged and weak heads, dropouts, scratches, servo loss,
damage.

A play is a field of causes, one for each block of each sweep, 0 where it is read. Damage belongs to the tape
and meets every play; all else is the machine's that day.

Sources: J. Watkinson, The Art of Digital Audio, and the chapter "Digital Audio Recording Basics" in Audio
Engineering: Know It All (dropouts, head clogs, mistracking, burst errors); US patent 4,685,004 (one head
drops out); IEC 61119-1:1992 (two heads, sweeps). How often and how long each is: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING

import numpy as np

from assembler.demo.medium.format import BLOCKS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Play = NDArray[np.uint8]


class Cause(IntEnum):
    """Why a sample is not the tape's."""

    NONE = 0
    CLOGGED = 1
    WEAK = 2
    DROPOUT = 3
    SCRATCH = 4
    SERVO = 5
    DAMAGE_ALIKE = 6
    DAMAGE_UNLIKE = 7
    MISCORRECTION = 8
    BUFFER_LOST = 9
    BUFFER_DOUBLED = 10
    BUFFER_REPEATED = 11
    CLOCK = 12
    STUCK_BIT = 13
    WRONG_WORD = 14
    CHAIN = 15


@dataclass(frozen=True)
class Damage:
    """A hurt place of the tape itself.

    Args:
        sweep: the first sweep that meets it.
        sweeps: how many do.
        block: the first block of it in a sweep.
        blocks: how many.
        alike: every play loses the same blocks; otherwise each loses its own share of them.
    """

    sweep: int
    sweeps: int
    block: int
    blocks: int
    alike: bool


def unhurt(sweeps: int) -> Play:
    """Return a play in which every block is read."""
    return np.zeros((sweeps, BLOCKS), np.uint8)


def clog(play: Play, random: np.random.Generator, first: int, count: int, head: int) -> None:
    """Let one head read nothing from a sweep on, for so many sweeps, now and then reading again for a while."""
    at, end = first, min(len(play), first + count)
    while at < end:
        until = min(end, at + int(count if random.random() < 0.5 else random.integers(3, count + 4)))
        part = np.arange(at, until)
        play[part[part % 2 == head]] = Cause.CLOGGED
        at = until + int(random.integers(2, 40))


def weaken(play: Play, random: np.random.Generator, first: int, count: int, head: int) -> None:
    """Let one head, or both for head 2, fail more and more, then less: single blocks, and the end of the sweep."""
    worst = random.uniform(0.3, 1.0)
    for sweep in range(first, min(len(play), first + count)):
        if head != 2 and sweep % 2 != head:
            continue
        strength = worst * np.sin(np.pi * (sweep - first + 0.5) / count) ** 2
        lost = random.random(BLOCKS) < 0.5 * strength
        tail = int(BLOCKS * strength * random.uniform(0.3, 1.0))
        lost[BLOCKS - tail :] = True
        play[sweep, lost] = Cause.WEAK


def drop_out(play: Play, random: np.random.Generator, first: int) -> None:
    """Lose one piece of one to four sweeps that follow one another."""
    count = int(random.integers(1, 5))
    width = int(random.integers(26, 1 + BLOCKS))
    start = int(random.integers(-width // 2, BLOCKS - width // 2))
    for sweep in range(first, min(len(play), first + count)):
        _piece(
            play,
            sweep,
            start + int(random.integers(-6, 7)),
            width + int(random.integers(-8, 9)),
            Cause.DROPOUT,
        )


def scratch(play: Play, random: np.random.Generator, first: int, count: int) -> None:
    """Lose the same piece of every sweep."""
    width = int(random.integers(27, 60))
    start = int(random.integers(0, BLOCKS - width))
    for sweep in range(first, min(len(play), first + count)):
        _piece(
            play,
            sweep,
            start + int(random.integers(-1, 2)),
            width + int(random.integers(-2, 3)),
            Cause.SCRATCH,
        )


def unlock(play: Play, random: np.random.Generator, first: int, count: int) -> None:
    """Lose everything, with sweeps that are half read on both sides."""
    play[first : first + count] = Cause.SERVO
    for sweep in (*range(first - 3, first), *range(first + count, first + count + 3)):
        if 0 <= sweep < len(play) and random.random() < 0.8:
            lost = random.random(BLOCKS) < random.uniform(0.3, 0.9)
            play[sweep, lost] = Cause.SERVO


def hurt(play: Play, random: np.random.Generator, damages: Sequence[Damage]) -> None:
    """Let a play meet what is wrong with the tape."""
    for damage in damages:
        for sweep in range(damage.sweep, min(len(play), damage.sweep + damage.sweeps)):
            if damage.alike:
                _piece(play, sweep, damage.block, damage.blocks, Cause.DAMAGE_ALIKE)
            elif random.random() < 0.7:
                start = damage.block + int(random.integers(-14, 15))
                _piece(play, sweep, start, damage.blocks + int(random.integers(-14, 15)), Cause.DAMAGE_UNLIKE)


def _piece(play: Play, sweep: int, start: int, width: int, cause: Cause) -> None:
    play[sweep, max(0, start) : max(0, start + width)] = cause
