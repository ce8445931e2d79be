"""How a digital tape carries sound: sweeps of blocks, the interleave, and what the code on the tape can mend.

A drum with two heads writes one short sweep after the other, each of 128 blocks, all tracks of the tape in
every sweep. A product code mends missing blocks up to a limit; the words of all others are missing when the
tape plays.

Sources: IEC 61119-1:1992, clauses 6 and 9.3 (two heads, 66 2/3 sweeps a second, blocks, interleave, codes;
the figures of the outer code, 32 blocks of which 6 check, in four ways, from memory); J. Watkinson, F.
Rumsey, Digital Interface Handbook, 3rd ed., 3.12 (odd samples delayed against even ones); US patent 4,685,004
(odd and even samples on the tracks of two heads); J. Watkinson in Audio Engineering: Know It All (odd and
even on the two tracks of a pair). The order of words in a sweep is invented: it spreads neighbours, and
differs from track to track.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

BLOCKS = 128
WAYS = 4
"""Outer code words that share a sweep: block b belongs to code word b modulo this."""
MENDS = 6
"""Blocks that each of them can mend where it knows which are bad: 24 in one piece, near a fifth of a sweep."""
CHECK = range(52, 76)
"""The blocks in the middle of a sweep that carry no sound but the outer code's check words."""

DATA = np.array([block for block in range(BLOCKS) if block not in CHECK])

Layout = Literal["heads", "halves", "delayed"]


@dataclass(frozen=True)
class Format:
    """How sound lies on one kind of tape.

    Args:
        rate: samples a second.
        sweep: samples of a track that one sweep's time lasts.
        layout: ``heads``: even and odd samples in the sweeps of different heads; ``halves``: in different halves of one
            sweep; ``delayed``: odd ones some sweeps later.
        swapped: for each track, whether the head that has the even samples of other tracks has its odd ones.
        delay: sweeps that odd samples are late by in the layout ``delayed``; an odd number.
        phase: samples of the first sweep that lie before the first sample of the tape; even.
    """

    rate: int
    sweep: int
    layout: Layout
    swapped: tuple[bool, ...]
    delay: int = 3
    phase: int = 0

    def sweeps(self, length: int) -> int:
        """Return how many sweeps a tape of so many samples has, with what is delayed at its end."""
        return (length + self.phase) // self.sweep + 3 + self.delay

    @lru_cache(maxsize=8)  # noqa: B019 - a tape's few tracks, asked for again in each play
    def places(self, track: int, length: int) -> tuple[NDArray[np.int32], NDArray[np.int16]]:
        """Return sweep and block of each sample of a track, both of shape (length,)."""
        at = np.arange(length, dtype=np.int32) + np.int32(self.phase)
        parity = (at + self.swapped[track]) & 1
        if self.layout == "heads":
            frame, inside = np.divmod(at, 2 * self.sweep)
            sweep = 2 * frame + parity
            word = (inside // 2) * 41 + 29 * track
        else:
            sweep, inside = np.divmod(at, self.sweep)
            word = (inside // 2) * 21 + 29 * track
        if self.layout == "halves":
            word = word % 52 + 52 * parity
        elif self.layout == "delayed":
            sweep = sweep + self.delay * parity
            word = word + 52 * parity
        return sweep.astype(np.int32), DATA[word % len(DATA)].astype(np.int16)


def unmended(bad: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which blocks are missing after the code has mended what it can.

    Args:
        bad: shape (sweeps, 128), blocks that could not be read.

    Returns:
        Same shape. A code word with more bad blocks than it can mend leaves them all.
    """
    ways = bad.reshape(len(bad), BLOCKS // WAYS, WAYS)
    lost = ways & (ways.sum(axis=1, keepdims=True) > MENDS)
    return np.asarray(lost.reshape(bad.shape))
