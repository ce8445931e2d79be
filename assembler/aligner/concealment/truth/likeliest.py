"""The likeliest truth of the samples in which captures differ: one capture's value, or nobody's.

What a capture that lost a sample has there must be what concealment makes of its neighbours; what one that kept it has
must be sound. Both have a price in nats, and the cheapest truth is chosen for all samples together, since a mean needs
a good sample behind it and a held level goes on until a mean. Losses nearby, of the same parity, make a loss likely.

Audio is ``int64`` in sample values, shape ``(captures, samples)``; positions count from the window's first sample.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import DECIDED_NATS, SOME_LOST
from assembler.aligner.concealment.truth.bends import bends_of, spread_of_bend, telling
from assembler.aligner.concealment.truth.links import Links
from assembler.aligner.concealment.truth.path import distinct_states, least_totals, rows_at
from assembler.aligner.concealment.truth.shares import Counted, shares_of
from assembler.aligner.concealment.truth.window import Choice
from assembler.aligner.records.limits import NEARLY_ALL, ROUNDS
from assembler.arrays import summed

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from assembler.aligner.concealment.truth.path import States
    from assembler.aligner.concealment.truth.shares import Pair
    from assembler.aligner.concealment.truth.window import Window
    from assembler.arrays import Bools, Float64s, Int64s


def likeliest_truths(windows: Sequence[Window]) -> list[tuple[Choice, Bools]]:
    """Return the likeliest truth of each differing sample, each round by what the last one showed of losses nearby.

    Beside it stand the samples that all captures of the track have likely lost, though they agree, shape (samples,).

    Args:
        windows: of the tracks of a tape, all of one stretch.
    """
    tracks = [_Track(window) for window in windows]
    shares: Sequence[Mapping[Pair, Float64s]] = []
    told_once = {pair for one in tracks for pair in one.told_once}
    for _ in range(ROUNDS):
        shares = shares_of([one.counted(told_once) for one in tracks])
        for one, own in zip(tracks, shares, strict=True):
            one.choose(own)
    return [(one.choice, one.lost_in_all(own)) for one, own in zip(tracks, shares, strict=True)]


class _Track:
    """The truth of one track, as far as it is known after a round."""

    def __init__(self, window: Window) -> None:
        """Take a window of all captures."""
        self.window = window
        versions, present, marks = window.versions, window.present, window.marks
        explained = marks.mean | marks.held
        self._looks_lost = (explained | ~present).all(axis=0)
        self._usual = ~window.differing
        self._sound = _first_truth(versions, present, explained)
        self._telling = telling(self._sound, self._usual, window.step)
        self._agreeing = self._looks_lost & ~window.differing & (np.count_nonzero(present, axis=0) > 1)
        self._likely_lost = (explained & present & (window.differing | self._agreeing)) * self._telling
        by_chance = 1 - self._telling
        told = np.where(
            explained, np.log((SOME_LOST + (1 - SOME_LOST) * by_chance) / by_chance), np.log1p(-SOME_LOST)
        )
        self._nats = np.where(present, told, 0.0)
        self._at = at = np.flatnonzero(window.differing)
        self.choice = Choice(at, np.zeros(at.size), np.zeros((len(versions), at.size), np.bool_))
        held, here = versions[:, at], present[:, at]
        self._alike = {
            (window.names[one], window.names[other]): (
                one,
                other,
                (held[one] == held[other]) & here[one] & here[other],
            )
            for one, other in combinations(range(len(versions)), 2)
        }
        self.told_once: list[Pair] = []
        if not at.size:
            return
        self._states = distinct_states(held, here)
        self._starts, self._sizes = rows_at(at)
        self._links = Links(window, at, self._states.lost, marks.mean, marks.held)
        self._unexplained = np.where(explained[:, at], 0.0, window.bits * np.log(2.0))
        firsts = self._states.firsts
        self.told_once = [
            pair for pair, (one, _, alike) in self._alike.items() if (alike & firsts[one]).any()
        ]
        # What is told once of several captures has to be what concealment makes in each of them.
        for one, other, alike in map(self._alike.__getitem__, self.told_once):
            own = self._unexplained[[one, other]]
            self._unexplained[one] = np.where(alike, own.max(axis=0), own[0])
        self._may_be_kept = present[:, at] & ~explained[:, at]

    def counted(self, told_once: Collection[Pair]) -> dict[Pair, Counted]:
        """Return what is likely to be lost: of each capture, and alike of two where any track tells that once."""
        lost = self._likely_lost
        found = {
            (name, name): Counted(own, self._telling * here, nats)
            for name, own, here, nats in zip(
                self.window.names, lost, self.window.present, self._nats, strict=True
            )
        }
        for pair in self._alike.keys() & told_once:
            one, other, alike = self._alike[pair]
            both = np.zeros(lost[one].size)
            both[self._at] = np.where(alike, lost[one, self._at], 0.0)
            found[pair] = Counted(both, lost[one], self._nats[other])
        return found

    def lost_in_all(self, shares: Mapping[Pair, Float64s]) -> Bools:
        """Return which samples are likely lost in all captures that are there, though these agree."""
        return np.asarray(self._likely_in_all(shares) > NEARLY_ALL, np.bool_)

    def _likely_in_all(self, shares: Mapping[Pair, Float64s]) -> Float64s:
        """Return how likely each sample was lost in all captures that are there, as far as these agree."""
        lost = np.ones(self._sound.size)
        for name, here in zip(self.window.names, self.window.present, strict=True):
            lost *= np.where(here, shares[name, name], 1.0)
        # If one was kept, it is by chance what concealment makes of its neighbours.
        return np.where(self._agreeing, lost / (lost + (1 - lost) * (1 - self._telling)), 0.0)

    def _share_at(self, number: int, shares: Mapping[Pair, Float64s]) -> Float64s:
        """Return how likely a capture lost each differing sample, if the first one that has the same value lost it."""
        name = self.window.names[number]
        share = shares[name, name][self._at]
        for pair in reversed(self.told_once):
            if pair[1] == name:
                share = np.where(self._alike[pair][2], shares[pair][self._at], share)
        return share

    def choose(self, shares: Mapping[Pair, Float64s]) -> None:
        """Choose the likeliest truth, where captures lost such a share of samples nearby."""
        at, step = self._at, self.window.step
        if not at.size:
            return
        states, starts, sizes = self._states, self._starts, self._sizes
        share = np.stack([self._share_at(number, shares) for number in range(len(self.window.names))])
        spread = spread_of_bend(self._sound, step)
        bends = bends_of(states.values, at, starts, self._sound, spread, self._usual, step)
        captures = len(share)
        costs = np.where(states.captures == captures, np.inf, 0.0)
        costs[-1] = 0.0
        # One that was lost may happen to be the tape's all the same, where it is what concealment leaves. What several
        # captures lost alike may be the tape's loss: that is told once, by what they have lost alike nearby.
        losing = np.where(states.firsts, self._unexplained, 0.0) - np.log(share)
        keeping = np.where(states.firsts & self._may_be_kept, -np.log1p(-share), 0.0)
        costs += summed(np.where(*one) for one in zip(states.lost, losing, keeping, strict=True))
        costs += self._links.at_ends(spread, starts, sizes)
        totals = least_totals(costs, self._links.between(spread), bends.costs, starts, sizes)
        self.choice = _choose(totals, states)
        self._sound = self._sound.copy()
        known = self.choice.truth < captures
        self._sound[at[known]] = self.window.versions[self.choice.truth[known], at[known]]
        # What agrees counts by what it tells, as all that is looked at; what differs has told.
        self._likely_lost[:] = self._likely_in_all(shares) * self.window.present * self._telling
        for own, lost, here in zip(self._likely_lost, states.lost, self.window.present, strict=True):
            kept_cost, lost_cost = (np.where(mask, np.inf, totals).min(axis=0) for mask in (lost, ~lost))
            own[at] = here[at] / (1 + np.exp(np.clip(lost_cost - kept_cost, -50, 50)))


def _first_truth(versions: Int64s, present: Bools, explained: Bools) -> Float64s:
    """Return a first guess at the sound: where captures differ, the value of one that is no mean and holds no level."""
    order = np.where(present, explained.astype(np.int64), 2)
    best = order.argmin(axis=0)
    return np.asarray(versions[best, np.arange(versions.shape[1])], np.float64)


def _choose(totals: Float64s, states: States) -> Choice:
    """Return the cheapest state of each sample, and how far it leads any that takes another value.

    Where it hardly leads what is nobody's, a capture's value is the better one to take.
    """
    samples = np.arange(totals.shape[1])
    somebodys = totals[:-1].argmin(axis=0)
    is_nobodys = totals[-1] + DECIDED_NATS <= totals[somebodys, samples]
    best = np.where(is_nobodys, len(totals) - 1, somebodys)
    is_same = states.values == states.values[best, samples]
    others = np.where(is_same, np.inf, totals).min(axis=0)
    return Choice(
        states.captures[best, samples], others - totals[best, samples], states.lost[:, best, samples]
    )
