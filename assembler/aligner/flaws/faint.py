"""Noise of a few steps, as one capture shows it by itself: levels held in it, lines through it.

Nothing foretells noise. But it never holds still: how likely it stays where it is, or moves
one way by single steps, is counted beside each place.

Audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import LEAST_TELLING, LONGEST_BURST, MOST_CHANCE, MOST_LEVEL_STEPS, WHITE
from assembler.aligner.flaws.white import unpredicted_shares
from assembler.aligner.records.limits import CHANCE_SAMPLES
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.limits import EDGE_SAMPLES, LEAST_NOISE_STEPS, MOST_UNSTEADY, NOISE_SAMPLES
from assembler.arrays import median, within

if TYPE_CHECKING:
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


def faint_flaws(samples: Int32s, step: int) -> list[tuple[str, Range]]:
    """Return mutes, holds and straight lines in noise of a few steps, as kind and range."""
    if samples.size < 2 * NOISE_SAMPLES or _median_is_over(samples, MOST_LEVEL_STEPS * step):
        return []
    return sorted(_still_places(samples, step), key=lambda row: row[1])


def _median_is_over(samples: Int32s, most: int) -> bool:
    """Return whether the median size lies over a number: a count tells, but where the middle two are on either side."""
    over = samples.size - int(np.count_nonzero(within(samples, most)))
    if abs(2 * over - samples.size) > 1:
        return 2 * over > samples.size
    return bool(median(np.abs(samples)) > most)


def _still_places(samples: Int32s, step: int) -> list[tuple[str, Range]]:
    """Return where noise stays still, or moves one way by single steps."""
    moves = np.diff(samples.astype(np.int64))
    found: list[Range] = []
    for way in (0, step, -step):
        moves_on = (moves == 0) | (moves == way)
        for first, last in ranges_of(moves_on, least=LEAST_TELLING - 1):
            place = first, last + 1
            if place[1] - place[0] <= LONGEST_BURST and _is_within_noise(samples, *place, step):
                beside = moves_on[first - NOISE_SAMPLES : first], moves_on[last : last + NOISE_SAMPLES]
                usual = max(float(np.mean(side)) for side in beside)
                if (last - first) * np.log(max(usual, 1e-3)) < np.log(MOST_CHANCE):
                    found = _with_one_more(found, place)
    kinds = [
        "straight" if samples[start] != samples[end - 1] else "hold" if samples[start] else "mute"
        for start, end in found
    ]
    return list(zip(kinds, found, strict=True))


def _with_one_more(found: list[Range], place: Range) -> list[Range]:
    """Return places with a further one; what stays still moves either way as well, with some steps beside."""
    near = [one for one in found if one[0] < place[1] and place[0] < one[1]]
    if any(place[1] - place[0] <= one[1] - one[0] + 2 * CHANCE_SAMPLES for one in near):
        return found
    return [*(one for one in found if one not in near), place]


def _is_within_noise(samples: Int32s, start: int, end: int, step: int) -> bool:
    """Return whether there is white noise of one level, and of a few steps, before a place and behind it."""
    if start < NOISE_SAMPLES or end + NOISE_SAMPLES > samples.size:
        return False
    sides = samples[start - NOISE_SAMPLES : start], samples[end : end + NOISE_SAMPLES]
    edges = sides[0][-EDGE_SAMPLES:], sides[1][:EDGE_SAMPLES]
    levels: list[float] = []
    for side in (*edges, *sides):  # most places have one that is no such noise: the short ones first
        levels.append(float(np.std(side)))
        if not LEAST_NOISE_STEPS * step <= levels[-1] <= MOST_LEVEL_STEPS * step:
            return False
    if max(levels) > MOST_UNSTEADY * min(levels):
        return False
    return all(float(unpredicted_shares(side, NOISE_SAMPLES, 24)[0]) > WHITE for side in sides)
