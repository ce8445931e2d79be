"""What a recorder and its interface do to what leaves the machine: samples lost, doubled, repeated, wrong.

Sources: Federal Agencies Digital Guidelines Initiative, Audio System Performance: interstitial errors (study
report 2012), samples lost or altered between converter and file in ordinary work at three archives; J.
Watkinson, F. Rumsey, Digital Interface Handbook, 3rd ed. (unlike clocks drop or repeat a sample at even
intervals). Buffers of 64 to 2048 samples: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.demo.medium.causes import Cause
from assembler.demo.medium.concealment import Made

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assembler.demo.medium.machine import Heard

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


def move(one: Capture, places: list[int], *, lost: int = 0, doubled: int = 0) -> None:
    """Lose samples of all tracks at places of the capture, in place, or take them twice.

    Args:
        one: the capture; what follows a place moves.
        places: samples of the capture, rising, further apart than what is lost or doubled.
        lost: how many samples are lost from each place on.
        doubled: how many come twice from each place on.
    """
    pieces: list[NDArray[np.int64]] = []
    taken = 0
    for at in places:
        pieces.append(np.arange(taken, at + doubled))
        taken = at + lost
    pieces.append(np.arange(taken, len(one.place)))
    index = np.concatenate(pieces)
    one.words, one.made = one.words[:, index], one.made[:, index]
    one.causes, one.place, one.locked = one.causes[:, index], one.place[index], one.locked[index]


def repeat(one: Capture, at: int, size: int) -> None:
    """Let a buffer be written a second time in the place of the next one, in place, on all tracks.

    Args:
        one: the capture; nothing moves.
        at: its first sample that is wrong, not below ``size``.
        size: samples of the buffer.
    """
    for track in range(len(one.words)):
        earlier = one.words[track, at - size : at].copy()
        put(one, (track, slice(at, at + size)), earlier, Made.REPEAT, Cause.BUFFER_REPEATED)


def put(one: Capture, where: tuple[int, slice], words: NDArray[np.int32], made: Made, cause: Cause) -> None:
    """Put words into a capture, in place; what has that value already stays as it was made.

    Args:
        one: the capture.
        where: track, and samples of the capture.
        words: shape (samples,), in steps of 24 bits.
        made: what they are.
        cause: why.
    """
    track, part = where
    changed = one.words[track, part] != words
    one.words[track, part] = words
    one.made[track, part][changed] = made
    one.causes[track, part][changed] = cause
