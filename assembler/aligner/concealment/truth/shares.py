"""Which share of the samples near each one was lost, as all tracks of a tape together show it.

The odd and the even samples of a tape lie apart on it, so that losses are counted for each parity by itself. All tracks
lie in the same sweeps, and their samples are spread alike over what is lost, though on some tracks the odd ones lie
where on others the even ones do.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import NONE_NATS, PRIOR_LOST
from assembler.aligner.records.limits import INSTANT_SAMPLES
from assembler.aligner.sound.limits import NOISE_SAMPLES
from assembler.arrays import summed, sums_around

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from typing import TypeAlias

    from assembler.arrays import Float64s

    Pair: TypeAlias = tuple[str, str]


@dataclass(frozen=True)
class Counted:
    """What was counted of one track.

    Args:
        lost: how many were lost at each sample, as far as that is likely, shape (samples,).
        seen: of how many, same shape.
        nats: how much likelier each is where some are lost than where none is, same shape.
    """

    lost: Float64s
    seen: Float64s
    nats: Float64s


def shares_of(tracks: Sequence[Mapping[Pair, Counted]]) -> list[dict[Pair, Float64s]]:
    """Return the share of losses near each sample, of each track.

    Args:
        tracks: what was counted of each: of a pass, by its name twice; of two passes, of what the first one lost what
            the other one lost alike.
    """
    swaps = _swapped_tracks(tracks)
    shares: dict[Pair, Float64s] = {}
    for pair in sorted({pair for one in tracks for pair in one}, key=lambda pair: pair[0] != pair[1]):
        own = [(one[pair], swap) for one, swap in zip(tracks, swaps, strict=True) if pair in one]
        counted = [
            summed(_swapped(getattr(count, one.name), swap=swap) for count, swap in own)
            for one in fields(Counted)
        ]
        # Where little is known of what two lost alike, the second one lost no more there than anywhere nearby.
        before = np.full(counted[0].size, PRIOR_LOST)
        if pair[0] != pair[1]:
            before = np.minimum(before, shares[pair[1], pair[1]])
        shares[pair] = _share_lost(before, *counted)
    return [
        {pair: _swapped(shares[pair], swap=swap) for pair in one}
        for one, swap in zip(tracks, swaps, strict=True)
    ]


def _swapped_tracks(tracks: Sequence[Mapping[Pair, Counted]]) -> list[bool]:
    """Return the tracks whose odd samples lie where the even ones of the track that tells most do."""
    leans = [{pair: _lean(count.lost) for pair, count in one.items() if pair[0] == pair[1]} for one in tracks]
    sizes = [sum(float((lean**2).sum()) for lean in own.values()) for own in leans]
    most = leans[int(np.argmax(sizes))]
    return [sum(float((own[pair] * most[pair]).sum()) for pair in own if pair in most) < 0 for own in leans]


def _lean(lost: Float64s) -> Float64s:
    """Return how many more even samples than odd ones were lost in each stretch of some milliseconds."""
    whole = lost[: lost.size // NOISE_SAMPLES * NOISE_SAMPLES].reshape(-1, NOISE_SAMPLES)
    return np.asarray(whole[:, ::2].sum(axis=1) - whole[:, 1::2].sum(axis=1), np.float64)


def _swapped(values: Float64s, *, swap: bool) -> Float64s:
    """Return values with each even sample's in the place of the odd one behind it, and the other way round."""
    if not swap:
        return values
    swapped = values.copy()
    even = values.size // 2 * 2
    swapped[:even:2], swapped[1:even:2] = values[1:even:2], values[:even:2]
    return swapped


def _share_lost(prior: Float64s, *counted: Float64s) -> Float64s:
    """Return for each sample which share of its parity was lost before it, behind it, or on both sides: the largest.

    A patch has abrupt borders, so that one side alone may tell.

    Args:
        prior: the share that is likely before anything is counted, shape (samples,).
        counted: what `Counted` holds of all tracks, in its order, each of shape (samples,).
    """
    share = np.empty(counted[0].size)
    for parity in (0, 1):
        sides = [_sides(one[parity::2]) for one in counted]
        before, behind = ([side[which] for side in sides] for which in (0, 1))
        both = [np.add(*side) for side in sides]
        own = prior[parity::2]
        share[parity::2] = np.maximum.reduce([_share(own, *side) for side in (before, behind, both)])
    return np.minimum(share, 1 - PRIOR_LOST)


def _sides(counted: Float64s) -> tuple[Float64s, Float64s]:
    """Return the sums of what stands before each place and behind it, within an instant.

    A patch of a sweep lasts fifteen times as long, so that this follows its borders closely. Of one parity there is
    every other sample.
    """
    nearby = INSTANT_SAMPLES // 2
    return sums_around(counted, nearby, 0), np.append(sums_around(counted, 0, nearby)[1:], 0.0)


def _share(prior: Float64s, lost: Float64s, seen: Float64s, nats: Float64s) -> Float64s:
    """Return the share of what was lost, less where as many look so by chance."""
    some = 1 / (1 + np.exp(np.clip(NONE_NATS - nats, -50, 50)))
    return np.asarray((some * lost + prior) / (seen + 1 + PRIOR_LOST), np.float64)
