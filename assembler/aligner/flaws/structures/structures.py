"""What a version of a place is built of where a machine made it, and where it may be cut.

Levels held, straight lines and blocks played twice are found exactly, from first sample to last, so that a place where
flaws of several captures overlap can be cut where one of them begins or ends. Where noise sets in or stops is found as
nearly as prediction errors show it.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import ABRUPT_RATIO, ROUNDING_POWER
from assembler.aligner.flaws.structures.copies import adjoined_block, repeated_blocks
from assembler.aligner.flaws.structures.levels import held_levels, longest_level
from assembler.aligner.flaws.structures.lines import straight_lines
from assembler.aligner.records.limits import INSTANT_SAMPLES, LEAST_TELLING, SURE_NATS
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.levels import prediction_errors
from assembler.aligner.sound.limits import MOST_ALIKE, PREDICTOR_ORDER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s, Int32s


def structures_of(
    samples: Int32s,
    agreed: Int32s,
    others: Sequence[Int32s],
    place: Range,
    step: int,
    open_ends: tuple[bool, bool],
    *,
    holds_levels: bool,
    seeks_copies: bool,
    longest_zero: int = 0,
    witnesses: Sequence[Int32s] = (),
) -> list[Structure]:
    """Return the structures that reach into a place.

    Args:
        samples: one version with its surroundings.
        agreed: what most captures hold.
        others: the other versions.
        place: where captures differ.
        step: one step of the tape's word length.
        open_ends: whether the place begins, ends, where a capture does: then a flaw may reach out of it.
        holds_levels: whether the sound holds levels by nature.
        seeks_copies: whether blocks played twice are looked for.
        longest_zero: for how long the sound stays at zero where that is one of its levels.
        witnesses: other captures; the original of a block played twice may be flawed in every version.
    """
    longest = longest_level(agreed, place) if holds_levels else 0
    held = held_levels(samples, agreed, place, longest, longest_zero)
    straight = [
        line
        for line in straight_lines(samples, others, place, step)
        # A level is a line that does not rise, and better told as one: it was made from one sample alone.
        if not any(one.spans((line.start, line.end)) for one in held)
    ]
    exact = [one for one in straight if one.is_exact]
    return [
        # A line that hardly rises is made of levels.
        *(one for one in held if not any(line.spans((one.start, one.end)) for line in exact)),
        *straight,
        *(
            repeated_blocks(samples, [samples, *others], witnesses, agreed, place, open_ends)
            if seeks_copies
            else ()
        ),
        *(adjoined_block(samples, place, longest) if longest else ()),
    ]


def rough_borders(samples: Int32s, place: Range, predictor: Float64s, usual: float) -> list[int]:
    """Return where noise sets in or stops: prediction errors far over the usual, forwards and backwards in time.

    Errors forwards show where it sets in, and go on behind it for as long as the predictor remembers; so its end
    is looked for backwards.
    """
    start, end = place
    low, high = max(0, start - predictor.size), min(samples.size, end + predictor.size)
    piece = samples[low:high].astype(np.float64)
    onsets = [first for first, _ in _rough(piece, predictor, usual)]
    ends = [piece.size - first for first, _ in _rough(piece[::-1], predictor, usual)]
    return [edge + low for edge in (*onsets, *ends) if start < edge + low < end]


def level_borders(samples: Int32s, place: Range, predictor: Float64s) -> list[int]:
    """Return where prediction errors change their level: noise no louder than the sound sets in or stops there."""
    low, end = place
    start = low + predictor.size
    if end - start < 2 * PREDICTOR_ORDER:
        return []
    # What went before may be another flaw, which foretells nothing.
    errors = prediction_errors(samples[low:end].astype(np.float64), predictor)[predictor.size :]
    powers = np.concatenate(([0.0], np.cumsum(errors**2 + ROUNDING_POWER)))
    found: list[int] = []
    changes = [_level_change(powers, 0, end - start)]
    for _ in range(MOST_ALIKE):
        gain, at, first, last = changes.pop(changes.index(max(changes)))
        if gain <= SURE_NATS:
            break
        found += [at + start] if _is_abrupt(powers, at) else []
        changes += [_level_change(powers, first, at), _level_change(powers, at, last)]
    return found


def _is_abrupt(powers: Float64s, at: int) -> bool:
    """Return whether errors change their level from one sample to the next: a stroke dies away, noise stops."""
    size = min(at, powers.size - 1 - at, INSTANT_SAMPLES)
    before, behind = powers[at] - powers[at - size], powers[at + size] - powers[at]
    return bool(max(before, behind) > ABRUPT_RATIO * min(before, behind))


def _level_change(powers: Float64s, first: int, last: int) -> tuple[float, int, int, int]:
    """Return what it saves, in nats, to write errors at two levels, and where the second one begins; and the range."""
    splits = np.arange(first + PREDICTOR_ORDER, last - PREDICTOR_ORDER)
    if not splits.size:
        return 0.0, first, first, last
    sizes = np.array([splits - first, last - splits])
    sums = np.array([powers[splits] - powers[first], powers[last] - powers[splits]])
    two = sizes * np.log(np.maximum(sums / sizes, ROUNDING_POWER))
    one = (last - first) * np.log(max(float(sums[:, 0].sum()) / (last - first), ROUNDING_POWER))
    gains = (one - two.sum(axis=0)) / 2.0
    best = int(gains.argmax())
    return float(gains[best]), int(splits[best]), first, last


def _rough(piece: Float64s, predictor: Float64s, usual: float) -> list[Range]:
    return ranges_of(np.abs(prediction_errors(piece, predictor)) > usual, bridge=INSTANT_SAMPLES)


def cuts_of(structures: list[list[Structure]], borders: list[int], place: Range) -> list[Range]:
    """Return the parts of a place between all borders of structures and of noise.

    A version that holds levels all over the place does so by nature: it is not cut there.
    """
    edges = {place[0], place[1], *borders}
    for version in structures:
        held = [one for one in version if one.kind in ("mute", "hold")]
        for one in version:
            if len(held) <= LEAST_TELLING or one not in held:
                edges.update(edge for edge in (one.start, one.end) if place[0] < edge < place[1])
    return list(pairwise(sorted(edges)))
