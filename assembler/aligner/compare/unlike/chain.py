"""What one capture is, given another one that came through a chain: a short filter, a constant, and the chain's noise.

Gain, a fraction of a sample and a converter's filter are one thing here: the filter that makes the one of the other
with the least error. Where the error is far above the noise that the chain shows elsewhere at such sound, one of the
two is flawed. Pure: ``float64``, shape ``(samples,)``, in sample values.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from assembler.aligner.compare.limits import (
    CHAIN_REACH,
    CHAIN_REACHES,
    LESS_NOISE,
    LOUDEST_LOCAL,
    NOISE_BLOCK,
    NOISE_BLOCKS,
)
from assembler.aligner.records.limits import BRIDGE_SAMPLES, CHANCE_SAMPLES, FAR_MORE
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.chain.change import find_change
from assembler.aligner.sound.chain.measures import most_alike
from assembler.arrays import median

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Bools, Float64s, Int32s


@dataclass(frozen=True)
class Chain:
    """How the better capture follows from the other one.

    Args:
        taps: of the filter, middle tap first in time at its middle; shape (2 * CHAIN_REACH + 1,).
        constant: added, in sample values.
        floor: deviation of the error where little sounds, in sample values.
        share: what the error grows by with the sound's treble.
        step: one step of the tape's word length, in sample values.
    """

    taps: tuple[float, ...]
    constant: float
    floor: float
    share: float
    step: int

    def undone(self, samples: Int32s) -> Float64s:
        """Return samples as the better capture would hold them, shape (n - 2 * CHAIN_REACH,): the ends are used up."""
        return np.asarray(np.convolve(samples, self.taps, mode="valid") + self.constant, np.float64)

    def differing(self, better: Float64s, undone: Float64s) -> Bools:
        """Return where two captures differ by far more than the chain's noise.

        Args:
            better: shape (n,).
            undone: the other one, as ``undone`` gives it, at the same places.
        """
        import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

        error = np.abs(better - undone)
        spread = self.floor + self.share * _treble(better, undone)
        size = -(-error.size // NOISE_BLOCK) * NOISE_BLOCK
        blocks = np.pad(error, (0, size - error.size), mode="edge").reshape(-1, NOISE_BLOCK)
        local = scipy.ndimage.median_filter(np.sqrt(np.mean(blocks**2, axis=1)), NOISE_BLOCKS, mode="nearest")
        spread = np.clip(np.repeat(local, NOISE_BLOCK)[: error.size], spread, LOUDEST_LOCAL * spread)
        return _solid(error > FAR_MORE * spread + self.step)


def find_chain(pieces: Sequence[tuple[Int32s, Int32s]], step: int) -> Chain | None:
    """Return what makes one capture of another; None where the two are not one sound.

    Pieces are the better capture and the other one at some places, at the same samples.
    """
    change = find_change(pieces, step)
    if change is None or not change.is_alike:
        return None
    pairs = [(a.astype(np.float64), b.astype(np.float64)) for a, b in pieces if a.any() and b.any()]
    chosen = most_alike(pairs)
    found, left = _told(chosen, 0)
    for reach in CHAIN_REACHES:
        wider, less = _told(chosen, reach)
        # A filter no wider than it must be smears a flaw of the other one the least.
        if less < LESS_NOISE * left:
            found, left = wider, less
    floor, share = _noise(pairs, found, step)
    return Chain(tuple(found[:-1][::-1].tolist()), float(found[-1]), floor, share, step)


def _told(pairs: Sequence[tuple[Float64s, Float64s]], reach: int) -> tuple[Float64s, float]:
    """Return the filter of a reach, and the error that it usually leaves."""
    found = _fitted(pairs, [np.ones(a.size - 2 * CHAIN_REACH, np.bool_) for a, _ in pairs], reach)
    # A flaw in a piece bends the filter: fitted again without what stands out.
    errors = [np.abs(_inner(a) - _applied(found, b)) for a, b in pairs]
    kept = [one <= FAR_MORE * median(one) + 1 for one in errors]
    found = _fitted(pairs, kept, reach)
    errors = [np.abs(_inner(a) - _applied(found, b))[k] for (a, b), k in zip(pairs, kept, strict=True)]
    return found, float(np.sqrt(np.mean(np.concatenate(errors) ** 2)))


def _inner(samples: Float64s) -> Float64s:
    return samples[CHAIN_REACH : samples.size - CHAIN_REACH]


def _rows(samples: Float64s, reach: int) -> Float64s:
    """Return what the filter sees at each sample, and one for the constant."""
    spare = CHAIN_REACH - reach
    seen = sliding_window_view(samples[spare : samples.size - spare], 2 * reach + 1)
    return np.concatenate((seen, np.ones((len(seen), 1))), axis=1)


def _applied(found: Float64s, samples: Float64s) -> Float64s:
    return np.asarray(np.convolve(samples, found[:-1][::-1], mode="valid") + found[-1], np.float64)


def _fitted(pairs: Sequence[tuple[Float64s, Float64s]], told: Sequence[Bools], reach: int) -> Float64s:
    """Return the taps, zero beyond the reach, and the constant."""
    size = 2 * reach + 2
    squares, products = np.zeros((size, size)), np.zeros(size)
    for (better, other), kept in zip(pairs, told, strict=True):
        rows = _rows(other, reach)[kept]
        squares += rows.T @ rows
        products += rows.T @ _inner(better)[kept]
    found = np.linalg.lstsq(squares, products, rcond=1e-12)[0]
    spare = np.zeros(CHAIN_REACH - reach)
    return np.concatenate((spare, found[:-1], spare, found[-1:])).astype(np.float64)


def _treble(better: Float64s, undone: Float64s) -> Float64s:
    """Return how lively the sound is around each sample, by the calmer of the two: the other one may be noise."""
    import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

    both = [
        np.sqrt(
            np.maximum(scipy.ndimage.uniform_filter1d(np.diff(one, prepend=one[:1]) ** 2, NOISE_BLOCK), 0.0)
        )
        for one in (better, undone)
    ]
    return np.asarray(scipy.ndimage.maximum_filter1d(np.minimum(*both), 2 * NOISE_BLOCK + 1), np.float64)


def _noise(pairs: Sequence[tuple[Float64s, Float64s]], found: Float64s, step: int) -> tuple[float, float]:
    """Return the deviation of the error where little sounds, and how it grows with the treble."""
    import scipy  # noqa: PLC0415 - slow to load, and few sessions need it

    errors, trebles = [], []
    for better, other in pairs:
        inner, undone = _inner(better), _applied(found, other)
        whole = inner.size // NOISE_BLOCK * NOISE_BLOCK
        own = np.sqrt(np.mean((inner - undone)[:whole].reshape(-1, NOISE_BLOCK) ** 2, axis=1))
        # Lively is what lies beside a lively sample, too: a click that a chain bends must not vanish among silence.
        errors.append(scipy.ndimage.maximum_filter1d(own, 3))
        trebles.append(_treble(inner, undone)[:whole:NOISE_BLOCK])
    error, treble = np.concatenate(errors), np.concatenate(trebles)
    quiet = treble <= np.quantile(treble, 0.25)
    floor = max(median(error[quiet]), 0.3 * step)
    lively = (treble >= median(treble)) & (treble > 0)
    if not lively.any():
        return floor, 0.0
    # The usual error, not the largest: where one of the two is flawed it is no chain's.
    return floor, max(0.0, median((error[lively] - floor) / treble[lively]))


def _solid(mask: Bools) -> Bools:
    """Return the mask without the short gaps between long runs, where two wrong numbers meet by chance."""
    for (_, end), (start, _) in pairwise(ranges_of(mask, least=CHANCE_SAMPLES + 1)):
        if start - end <= BRIDGE_SAMPLES:
            mask[end:start] = True
    return mask
