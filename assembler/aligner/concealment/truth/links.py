"""What the rule of concealment says of neighbouring samples: what goes on, and what needs a good one beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import BROKEN_HOLD_COST
from assembler.aligner.concealment.marks import LINE, MEAN, THROUGHOUT, UP_TO_MEAN
from assembler.arrays import summed

if TYPE_CHECKING:
    from assembler.aligner.concealment.truth.window import Window
    from assembler.arrays import Bools, Float64s, Int64s


class Links:
    """What it costs to go from one differing sample to the next one, by the rule of concealment.

    A sample that is a mean and not held needs a good one behind it, and before it where several are held throughout.
    One that is held and no mean goes on where it is held up to a mean: what follows is lost too, even if it happens to
    equal the tape's.
    """

    def __init__(self, window: Window, at: Int64s, lost: Bools, mean: Bools, held: Bools) -> None:
        """Take a window and its differing samples.

        Args:
            window: all captures.
            at: positions of the differing samples.
            lost: which captures lost each of them in each state, shape (captures, states, samples).
            mean: whether a sample is a mean, shape (captures, samples of the window).
            held: whether it is its predecessor again, same shape.
        """
        behind = np.minimum(at + 1, mean.shape[1] - 1)
        self._at = at
        self._lost = lost
        only_mean, only_held = (mean & ~held)[:, at], (held & ~mean)[:, at]
        several = np.array([machine.several for machine in window.machines])[:, None]
        behind_good = only_mean & (several == THROUGHOUT)
        self._single = only_mean & (several != LINE) | np.roll(behind_good, -1, axis=1)
        self._only_held = only_held & (several == UP_TO_MEAN)
        self._goes_on = (mean | held)[:, behind]
        # Where several are held throughout, and one is a mean, one that is held and is the last had another before it,
        # which may happen to equal the tape's where it is held as well.
        singles = np.array([machine.single for machine in window.machines])[:, None]
        held_twice = held[:, np.maximum(at - 1, 0)]
        last_held = only_held & (several == THROUGHOUT) & (singles == MEAN) & ~self._goes_on & ~held_twice
        self._had_another = np.roll(last_held, -1, axis=1)
        self._arbitrary = window.bits * np.log(2.0)

    def between(self, spread: Float64s) -> Float64s:
        """Return the cost of each pair of states of a sample and the next, shape (states, states, samples)."""
        count, size = self._lost.shape[1:]
        torn = np.zeros((count, count, size), np.uint16)
        broken = np.zeros(torn.shape)
        for lost, single, another, held, price in zip(
            self._lost,
            self._single,
            self._had_another,
            self._only_held,
            self._breaking(spread, slice(None)),
            strict=True,
        ):
            behind = np.roll(lost, -1, axis=1)
            torn += (lost & single)[:, None] & behind
            torn += ~lost[:, None] & (behind & another)
            broken += np.where(lost & held, price, 0.0)[:, None] * ~behind
        return np.asarray(self._arbitrary * torn + broken, np.float64)

    def at_ends(self, spread: Float64s, starts: Int64s, sizes: Int64s) -> Float64s:
        """Return what the end of its row costs each state of a row's last sample, shape (states, samples)."""
        cost = np.zeros(self._lost.shape[1:])
        last = starts + sizes - 1
        last = last[np.append(np.diff(self._at) > 1, [True])[last]]
        ended = self._lost[:, :, last] & self._only_held[:, None, last]
        prices = self._breaking(spread, last)
        cost[:, last] = summed(np.where(*one, 0.0) for one in zip(ended, prices, strict=True))
        return cost

    def _breaking(self, spread: Float64s, which: Int64s | slice) -> Float64s:
        """Return what it costs each capture to stop holding behind some samples: less where it may go on by chance."""
        chance = np.maximum(np.log(2 * spread[self._at[which]]), 0.0)
        return np.where(self._goes_on[:, which], chance, BROKEN_HOLD_COST)
