"""Whether a stretch may stand a second time in sound: what rules it out, so that it is not looked for."""

from __future__ import annotations

from math import isqrt
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s, Int64s


def may_repeat(samples: Int32s, lags: Range, least: int) -> bool:
    """Return whether a stretch that changes, at more than half of its samples, may stand a second time.

    A long stretch holds a whole piece of a grid. So only the first few samples of each piece are looked for, among
    every so many of all: wherever the stretch stood before, one of those meets one of these. What is equal there, and
    at a few places further on, is compared in full.

    Args:
        samples: one track.
        lags: how many samples later, from and to.
        least: samples of the stretch.
    """
    size = least // 2
    hop = max(1, isqrt(size) // 2)
    starts = _changing(samples, size)
    known = np.concatenate([starts + offset for offset in range(hop)])
    for at, later in _meeting(samples, known, samples.size - size + hop, hop):
        if 8 * hop * at.size > samples.size:
            return True  # so coarse that only a closer look tells
        left = np.flatnonzero((later - at >= lags[0]) & (later - at <= lags[1]))
        for offset in range(0, size - hop + 1, max(1, size // 4)):
            left = left[samples[at[left] + offset] == samples[later[left] + offset]]
        # Where much is the same, as in loops, it is for a closer look as well.
        if left.size > starts.size // 32 or any(
            _is_whole(samples, int(at[one]), int(later[one]), size) for one in left
        ):
            return True
    return False


def _is_whole(samples: Int32s, at: int, later: int, size: int) -> bool:
    """Return whether the piece that begins at, or shortly before, a later place stands around an earlier one, too."""
    start = later // size * size
    first = at - (later - start)
    return first >= 0 and bool((samples[first : first + size] == samples[start : start + size]).all())


def _meeting(samples: Int32s, known: Int64s, end: int, hop: int) -> Iterator[tuple[Int64s, Int64s]]:
    """Yield places of all sound, and for each a known one whose sample may be equal, until all such pairs were told.

    Where so many samples are alike that this takes long, the last pairs are as many as there are places. From ``end``
    on none of them is sought any more; before it every so many are, by the ``hop``.
    """
    factor, shift = np.uint32(0x9E3779B1), np.uint32(32 - 18)
    asked = (samples[: max(0, end) : hop].view(np.uint32) * factor >> shift).astype(np.intp)
    slots = (samples[known].view(np.uint32) * factor >> shift).astype(np.intp)
    # A slot holds one of the places whose samples fall into it; the others wait for the next round.
    marks = np.arange(1, known.size + 1).astype(np.min_scalar_type(known.size + 1))
    holder = np.zeros(1 << 18, marks.dtype)
    at = np.arange(asked.size)
    for _ in range(4):
        holder[slots] = marks
        held = holder.take(asked)
        hit = np.flatnonzero(held != 0)
        at, asked = at[hit], asked[hit]
        yield hop * at, known[held[hit].astype(np.intp) - 1]
        waiting = holder[slots] != marks
        holder[slots] = 0
        slots, marks = slots[waiting], marks[waiting]
        if not marks.size:
            return
    yield np.arange(samples.size), np.arange(samples.size)


def _changing(samples: Int32s, size: int) -> Int64s:
    """Return where pieces of the grid begin that are not one level from end to end."""
    pieces = samples[: samples.size // size * size].reshape(-1, size)
    changes = pieces[:, 0] != pieces[:, size // 2]
    left = np.flatnonzero(~changes)
    changes[left] = (pieces[left] != pieces[left, :1]).any(axis=1)
    return np.flatnonzero(changes) * size
