"""How much the sound around each sample bends, and what it costs that it has some value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import BEND_SHARE, LEAST_BEND
from assembler.aligner.records.limits import INSTANT_SAMPLES
from assembler.aligner.sound.limits import NOISE_SAMPLES
from assembler.arrays import sums_around

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s, Int64s

NOBODYS = np.iinfo(np.int64).min
"""Stands for a value that no capture holds."""

EULER = 0.5772156649
"""Mean of the negative logarithm of an exponentially distributed number of mean one."""


def telling(sound: Float64s, usual: Bools, step: int) -> Float64s:
    """Return how likely each sample, once it is lost, is none of the tape's: what is soft, or still, tells little.

    Args:
        sound: shape (samples,).
        usual: which samples tell how often sound stays where it is.
        step: one step of the tape's word length, in sample values.
    """
    # The chance that a bend of the law that `Bends` has is less than half a step.
    by_chance = 1 / (2 * spread_of_bend(sound, step) + 1)
    return np.asarray((1 - by_chance) * (1 - rate_nearby(_still(sound) & usual, usual)), np.float64)


def _still(sound: Float64s) -> Bools:
    """Return which samples are like one beside them."""
    still = np.zeros(sound.size, np.bool_)
    still[1:] = np.diff(sound) == 0
    still[:-1] |= still[1:]
    return still


def middles(sound: Float64s) -> Float64s:
    """Return for each sample the middle between its neighbours; at the ends the sample itself."""
    middle = sound.copy()
    middle[1:-1] = (sound[:-2] + sound[2:]) / 2
    return middle


def spread_of_bend(sound: Float64s, step: int) -> Float64s:
    """Return how far samples around each one lie from the middle of their neighbours, in steps, shape as ``sound``.

    A geometric mean: an attack nearby counts little before it comes. Two instants on each side are long against the
    periods of treble, and short against a drum's attack.
    """
    reach = 2 * INSTANT_SAMPLES
    bend = np.log(np.abs(sound - middles(sound)) / step + LEAST_BEND)
    sums, counts = (sums_around(one, reach, reach + 1) for one in (bend, np.ones(bend.size)))
    bend_usual = np.exp(sums / counts + EULER) - LEAST_BEND
    return np.asarray(np.maximum(bend_usual, LEAST_BEND), np.float64)


@dataclass(frozen=True)
class Bends:
    """What it costs, in nats, that sound has some values: as it bends, or stays where it is.

    Args:
        values: what each differing sample may be, shape (states, samples); as sound is known where it is nobody's.
        is_somebodys: whether a capture has that value, same shape: what nobody has costs nothing here.
        last: what the sample before it may be, same shape.
        following: what the one behind it may be, same shape.
        spread: how far sound bends there, in steps, shape (samples,).
        staying: cost of staying where it is, shape (samples,).
        step: one step of the tape's word length, in sample values.
    """

    values: Float64s
    is_somebodys: Bools
    last: Float64s
    following: Float64s
    spread: Float64s
    staying: Float64s
    step: int

    def costs(self, at: Int64s) -> Float64s:
        """Return the costs of some differing samples: shape (states before, own states, states behind, samples)."""
        states = len(self.values)
        costs = np.zeros((states, states, states, at.size))
        # What is nobody's, as the last state is everywhere, costs nothing. An index would lay samples out one by one.
        own, last, following = (
            rows.take(at, axis=1) for rows in (self.values[:-1], self.last, self.following)
        )
        last = last[:, None]
        bend = own[:, None] - ((last + following) / 2)[:, None]
        np.abs(bend, out=bend)
        bend /= self.step
        # A heavy tail: at an attack, or an edge, sound bends a hundred times as far as around. That it has just this
        # value counts in full, as what concealment makes of its neighbours is no chance.
        spread = self.spread[at]
        bend /= spread
        bends = np.log1p(bend, out=bend)
        bends *= 2 * BEND_SHARE
        bends += np.log(2 * spread)
        # Bounds of a few states and a product instead of masks over all of them: numpy is ten times as fast at these.
        staying = self.staying[at]
        np.minimum(bends, np.where(own == last, staying, np.inf)[:, :, None], out=bends)
        np.minimum(bends, np.where(own[:, None] == following, staying, np.inf), out=bends)
        np.multiply(bends, self.is_somebodys[:-1].take(at, axis=1)[:, None], out=costs[:, :-1])
        return costs


def bends_of(
    values: Int64s, at: Int64s, starts: Int64s, sound: Float64s, around: Float64s, usual: Bools, step: int
) -> Bends:
    """Return what it costs that sound has some values at the differing samples, by what their neighbours may be.

    Args:
        values: candidates of each sample, shape (candidates, samples), NOBODYS among them.
        at: positions of the samples, in order.
        starts: indices at which rows of adjacent samples begin; beside a row sound is as it is known.
        sound: as far as it is known, shape (all samples).
        around: how far it bends there, as `spread_of_bend` has it, same shape.
        usual: which of all samples tell how often sound stays where it is.
        step: one step of the tape's word length, in sample values.
    """
    own = np.where(values == NOBODYS, sound[at], values)
    last, following = np.roll(own, 1, axis=1), np.roll(own, -1, axis=1)
    ends = np.append(starts[1:], at.size) - 1
    last[:, starts] = sound[np.maximum(at[starts] - 1, 0)]
    following[:, ends] = sound[np.minimum(at[ends] + 1, sound.size - 1)]
    staying = -np.log(rate_nearby(_still(sound) & usual, usual)[at])
    return Bends(own, values != NOBODYS, last, following, around[at], staying, step)


def rate_nearby(marked: Bools, looked_at: Bools) -> Float64s:
    """Return around each sample the share of marked ones among those looked at, shape (samples,).

    Where none are nearby it is the share among all of them: to know nothing of sound is no word against it.
    """
    found, seen = (
        sums_around(one.astype(np.int64), NOISE_SAMPLES, NOISE_SAMPLES) for one in (marked, looked_at)
    )
    overall = (np.count_nonzero(marked) + 1) / (np.count_nonzero(looked_at) + 2)
    return np.asarray((found + 2 * overall) / (seen + 2), np.float64)
