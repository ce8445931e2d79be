"""What a machine puts in the place of words that its code could not mend.

Sources: US patent 4,641,309 (1987), the three cases: one word missing becomes the mean of its neighbours; of
several in a row the last good one is held, and the last of them is the mean of the held and the next good
one; past a limit the output is muted. European patent application 0 117 756: the mean, or hold where the next
word is wrong too. US patent 4,685,004: interpolation when a head drops out. J. Watkinson, The Art of Digital
Audio: muting, at once or by a ramp. That a machine may hold to the end, or draw a line, and how it rounds:
common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

Rounding = Literal["down", "up", "zero"]
Runs = Literal["hold_mean", "hold", "line"]


class Made(IntEnum):
    """What a sample is that the tape's own word is not."""

    TAPE = 0
    MEAN = 1
    HOLD = 2
    MUTE = 3
    WORD = 4
    REPEAT = 5
    BIT = 6
    LINE = 7


@dataclass(frozen=True)
class Machine:
    """How one machine conceals.

    Args:
        rounding: of halves: down, up, or towards zero.
        runs: what several words missing in a row become.
        mute_share: share of missing words in a unit past which its output is muted; above a half.
        unit: samples for which the share is asked.
        ramp: samples of the ramp at either end of a mute, 0 for none.
    """

    rounding: Rounding
    runs: Runs
    mute_share: float
    unit: int
    ramp: int


def _halved(total: NDArray[np.int64], rounding: Rounding) -> NDArray[np.int64]:
    """Return half of each whole number, rounded as a machine does."""
    if rounding == "zero":
        return np.asarray((total + (total < 0)) >> 1)
    return np.asarray((total + (rounding == "up")) >> 1)


def _divided(value: NDArray[np.int64], by: NDArray[np.int64], rounding: Rounding) -> NDArray[np.int64]:
    """Return quotients, rounded as a machine does; ``by`` is positive."""
    down = value // by
    uneven = down * by != value
    return np.asarray(down + (uneven & ((rounding == "up") | ((rounding == "zero") & (value < 0)))))


def conceal(
    words: NDArray[np.int32], missing: NDArray[np.bool_], machine: Machine
) -> tuple[NDArray[np.int32], NDArray[np.uint8]]:
    """Return a track with its missing words concealed, and what each sample was made as; mutes come later.

    Args:
        words: shape (n,), the tape's words.
        missing: shape (n,), which of them are missing.
        machine: how it conceals.
    """
    out, made = words.copy(), np.zeros(len(words), np.uint8)
    edges = np.flatnonzero(np.diff(missing, prepend=False, append=False))
    starts, ends = edges[::2], edges[1::2]
    if not len(starts):
        return out, made
    before = np.where(starts > 0, words[starts - 1], 0).astype(np.int64)
    # Words that never come are as if the last good one had gone on.
    behind = np.where(ends < len(words), words[np.minimum(ends, len(words) - 1)], before).astype(np.int64)
    counts = ends - starts
    index = np.flatnonzero(missing)
    run = np.repeat(np.arange(len(starts)), counts)
    step = index - starts[run] + 1
    single = counts[run] == 1
    is_last = step == counts[run]
    mean = _halved(before + behind, machine.rounding)[run]
    if machine.runs == "line":
        line = _divided((behind - before)[run] * step, counts[run] + 1, machine.rounding)
        many, kind = before[run] + line, np.full(len(index), Made.LINE)
    else:
        ends_in_mean = is_last & (machine.runs == "hold_mean")
        many = np.where(ends_in_mean, mean, before[run])
        kind = np.full(len(index), Made.HOLD)
    out[index] = np.where(single, mean, many)
    made[index] = np.where(single, Made.MEAN, kind)
    return out, made


def muted(missing: NDArray[np.bool_], phase: int, machine: Machine) -> NDArray[np.bool_]:
    """Return where a machine mutes all tracks, shape (n,).

    Args:
        missing: shape (tracks, n), which words of each track are missing.
        phase: samples of the first unit that lie before the first of these.
        machine: how it conceals.
    """
    count = missing.shape[1]
    unit = (np.arange(count) + phase) // machine.unit
    lost = np.bincount(unit, missing.sum(axis=0))
    held = np.bincount(unit) * len(missing)
    return np.asarray((lost > machine.mute_share * held)[unit])


def mute(
    words: NDArray[np.int32], made: NDArray[np.uint8], quiet: NDArray[np.bool_], machine: Machine
) -> None:
    """Mute a track where it has to be, in place, with ramps outside of the mute if the machine has them."""
    if not quiet.any():
        return
    edges = np.flatnonzero(np.diff(quiet, prepend=False, append=False))
    words[quiet], made[quiet] = 0, Made.MUTE
    gains = np.arange(machine.ramp, 0, -1) / (machine.ramp + 1)
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        for first, ramp in ((start - machine.ramp, gains), (end, gains[::-1])):
            part = slice(max(0, first), min(len(words), first + machine.ramp))
            shaped = words[part] * ramp[part.start - first : part.stop - first]
            # A machine multiplies and drops what is below its last bit.
            words[part] = np.trunc(shaped).astype(np.int32)
            made[part] = Made.MUTE
