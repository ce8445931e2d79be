"""Of captures that differ in single samples: which of them lost which ones, and concealed that.

The tape's value of each differing sample is one capture's, or nobody's. What a capture that lost it has there must be
what concealment makes of its neighbours; what one that kept it has must be sound. Both have a price in nats, and the
cheapest truth is chosen for all samples together, since a mean needs a good sample behind it and a held level goes on
until a mean. Losses nearby, of the same parity, make a loss likely.

Audio is ``int64`` in sample values, shape ``(captures, samples)``; positions count from the window's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import reduce
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import (
    ALONE_NATS,
    BROKEN_HOLD_COST,
    DECIDED_NATS,
    FIRST_SHARE,
    LEAST_EVIDENCE,
    LEAST_EXPLAINED,
    LEAST_SURPRISE,
    LONGEST_HOLD,
    LONGEST_PATCH,
    NOBODY_COST,
    PATCH_BRIDGE,
    ROUNDS,
    SURE_NATS,
)
from assembler.aligner.concealment.marks import LINE, THROUGHOUT, UP_TO_MEAN, Machine, marks_of
from assembler.aligner.concealment.nearby import rate_nearby, share_lost, sound_cost, spread_of_bend
from assembler.aligner.concealment.path import States, distinct_states, least_totals, rows_at
from assembler.aligner.records.ranges import pieces_of, ranges_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.arrays import Bools, Float64s, Int64s


@dataclass(frozen=True)
class Window:
    """What captures of one track hold of one stretch.

    Args:
        versions: shape (captures, samples).
        present: where each capture holds samples at all, shape (captures, samples).
        step: one step of the tape's word length, in sample values.
        bits: the tape's word length.
        machines: how the machine of each capture conceals.
    """

    versions: Int64s
    present: Bools
    step: int
    bits: int
    machines: Sequence[Machine]

    def differing(self) -> Bools:
        """Return where captures that are present differ, shape (samples,)."""
        largest, least = (np.where(self.present, self.versions, none) for none in (-(1 << 62), 1 << 62))
        return np.asarray(least.min(axis=0) < largest.max(axis=0), np.bool_)


@dataclass(frozen=True)
class Settled:
    """What is said of the differing samples of a window.

    Args:
        settled: where concealment explains the difference and one truth leads, shape (samples,).
        open: where it explains the difference, and no truth leads or none of the captures has it.
        taken: index of the capture whose value is likeliest, shape (samples,).
        lost: which captures lost a sample that is settled or open, shape (captures, samples).
        lead: how far the likeliest truth leads any other value, in nats, shape (samples,).
        surprise: how unlikely it is by chance that a lost sample is what concealment makes, in nats, shape as ``lost``;
            0 for others.
    """

    settled: Bools
    open: Bools
    taken: Int64s
    lost: Bools
    lead: Float64s
    surprise: Float64s


@dataclass(frozen=True)
class _Choice:
    truth: Int64s
    lead: Float64s
    lost: Bools


def settle(window: Window) -> Settled:
    """Return which captures lost which of the samples in which they differ; nothing where that has another cause."""
    versions, differs = window.versions, window.differing()
    at = np.flatnonzero(differs)
    captures, size = versions.shape
    said = Settled(
        np.zeros(size, np.bool_),
        np.zeros(size, np.bool_),
        np.zeros(size, np.int64),
        np.zeros((captures, size), np.bool_),
        np.zeros(size),
        np.zeros((captures, size)),
    )
    if not at.size:
        return said
    marks = [
        marks_of(own, window.step, machine) for own, machine in zip(versions, window.machines, strict=True)
    ]
    mean, held = np.stack([one.mean for one in marks]), np.stack([one.held for one in marks])
    choice = _chosen(window, at, mean, held)
    lost = np.zeros((captures, size), np.bool_)
    lost[:, at] = choice.lost
    levels = lost & _long_levels(held)
    surprise = np.where(levels, 0.0, _surprise(window, differs, lost, mean, held))
    accepted = _accepted(differs, lost & ~levels, surprise)[at] & ~levels.any(axis=0)[at]
    leads = choice.lead >= DECIDED_NATS
    has_truth = choice.truth < captures
    said.settled[at] = accepted & leads & has_truth
    said.open[at] = accepted & ~(leads & has_truth)
    said.taken[at] = np.where(has_truth, choice.truth, 0)
    lost &= said.settled | said.open
    said.lead[at] = choice.lead
    return replace(said, lost=lost, surprise=np.where(lost, surprise, 0.0))


def _chosen(window: Window, at: Int64s, mean: Bools, held: Bools) -> _Choice:
    """Return the likeliest truth of each differing sample, each round by what the last one showed of losses nearby."""
    versions, present = window.versions, window.present
    captures, size = versions.shape
    explained = mean | held
    states = distinct_states(versions[:, at], present[:, at])
    here, lost = present[:, at], states.lost
    starts, sizes = rows_at(at)
    links = _Links(window, at, lost, mean, held)
    sound = _first_truth(versions, present, explained)
    share = np.full((captures, at.size), FIRST_SHARE)
    unexplained = np.where(explained[:, at], 0.0, window.bits * np.log(2.0))
    usual = ~window.differing()
    choice = _Choice(states.captures[0], np.zeros(at.size), lost[:, 0])
    for number in range(ROUNDS):
        spread = spread_of_bend(sound, window.step)
        costs = sound_cost(states.values, at, sound, spread, usual, window.step)
        costs[states.captures == captures] = np.inf
        costs[-1] = NOBODY_COST
        losing, keeping = unexplained - np.log(share), np.where(here, -np.log1p(-share), 0.0)
        costs += _sum(np.where(*one) for one in zip(lost, losing, keeping, strict=True))
        costs += links.at_ends(spread, starts, sizes)
        totals = least_totals(costs, links.between(spread), starts, sizes)
        choice = _choose(totals, states)
        sound = sound.copy()
        known = choice.truth < captures
        sound[at[known]] = versions[choice.truth[known], at[known]]
        if number + 1 < ROUNDS:
            share = _shares(choice, at, size, present)
    return choice


def _sum(arrays: Iterable[Float64s]) -> Float64s:
    """Return the sum of some arrays of one shape, one after the other."""
    return reduce(np.ndarray.__add__, arrays)


def _shares(choice: _Choice, at: Int64s, size: int, present: Bools) -> Float64s:
    """Return the share of losses near each differing sample, of each capture; only what is sure counts."""
    sure = choice.lead >= SURE_NATS
    shares = np.empty(choice.lost.shape)
    found: dict[object, Float64s] = {}
    for number, (surely, here) in enumerate(zip(choice.lost & sure, present, strict=True)):
        # Captures that lost nothing, which most of many are, have one share.
        name = number if surely.any() else here.tobytes()
        if name not in found:
            lost, known = np.zeros(size, np.bool_), here.copy()
            lost[at] = surely
            known[at] &= sure
            found[name] = share_lost(lost, known)[at]
        shares[number] = found[name]
    return shares


def _first_truth(versions: Int64s, present: Bools, explained: Bools) -> Float64s:
    """Return a first guess at the sound: where captures differ, the value of one that is no mean and holds no level."""
    order = np.where(present, explained.astype(np.int64), 2)
    best = order.argmin(axis=0)
    return np.asarray(versions[best, np.arange(versions.shape[1])], np.float64)


def _choose(totals: Float64s, states: States) -> _Choice:
    """Return the cheapest state of each sample, and how far it leads any that takes another value."""
    samples = np.arange(totals.shape[1])
    best = totals.argmin(axis=0)
    is_same = states.values == states.values[best, samples]
    others = np.where(is_same, np.inf, totals).min(axis=0)
    return _Choice(
        states.captures[best, samples], others - totals[best, samples], states.lost[:, best, samples]
    )


class _Links:
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
        self._arbitrary = window.bits * np.log(2.0)

    def between(self, spread: Float64s) -> Float64s:
        """Return the cost of each pair of states of a sample and the next, shape (states, states, samples)."""
        count, size = self._lost.shape[1:]
        torn = np.zeros((count, count, size), np.uint16)
        broken = np.zeros(torn.shape)
        for lost, single, held, price in zip(
            self._lost, self._single, self._only_held, self._breaking(spread, slice(None)), strict=True
        ):
            behind = np.roll(lost, -1, axis=1)
            torn += (lost & single)[:, None] & behind
            broken += np.where((lost & held)[:, None] & ~behind, price, 0.0)
        return np.asarray(self._arbitrary * torn + broken, np.float64)

    def at_ends(self, spread: Float64s, starts: Int64s, sizes: Int64s) -> Float64s:
        """Return what the end of its row costs each state of a row's last sample, shape (states, samples)."""
        cost = np.zeros(self._lost.shape[1:])
        last = starts + sizes - 1
        last = last[np.append(np.diff(self._at) > 1, [True])[last]]
        ended = self._lost[:, :, last] & self._only_held[:, None, last]
        prices = self._breaking(spread, last)
        cost[:, last] = _sum(np.where(*one, 0.0) for one in zip(ended, prices, strict=True))
        return cost

    def _breaking(self, spread: Float64s, which: Int64s | slice) -> Float64s:
        """Return what it costs each capture to stop holding behind some samples: less where it may go on by chance."""
        chance = np.maximum(np.log(2 * spread[self._at[which]]), 0.0)
        return np.where(self._goes_on[:, which], chance, BROKEN_HOLD_COST)


def _surprise(window: Window, differs: Bools, lost: Bools, mean: Bools, held: Bools) -> Float64s:
    """Return how unlikely each lost sample is by chance what concealment leaves, in nats; 0 for one that is not."""
    kept_to = np.stack([_by_rule(*rows) for rows in zip(window.machines, lost, mean, held, strict=True)])
    surprise = np.zeros(lost.shape)
    still = np.diff(window.versions, axis=1, prepend=window.versions[:, :1] - 1) == 0
    for number, usual in enumerate(~differs & window.present):
        # Where sound holds levels, one that is held again is nothing, and a mean between two of them is.
        marked = mean[number] | held[number]
        for own in (marked & still[number], marked & ~still[number]):
            surprise[number, own] = -np.log(rate_nearby(own & usual, usual))[own]
    return surprise * kept_to


def _accepted(differs: Bools, lost: Bools, surprise: Float64s) -> Bools:
    """Return the differing samples of patches that concealment explains, and that sound hardly explains by itself."""
    kept_to = surprise > 0
    accepted = np.zeros(differs.size, np.bool_)
    for start, end in pieces_of(ranges_of(differs, bridge=PATCH_BRIDGE), LONGEST_PATCH):
        part = slice(start, end)
        # Of all captures together: one odd sample of the one is no reason against thousands of the other.
        count, told = int(lost[:, part].sum()), int(kept_to[:, part].sum())
        nats, single = float(surprise[:, part].sum()), _of_single(surprise[:, part])
        is_unlikely = nats >= max(LEAST_EVIDENCE, LEAST_SURPRISE * told) or single >= ALONE_NATS
        accepted[part] = is_unlikely and told >= LEAST_EXPLAINED * count
    return accepted & differs & ~(lost & ~kept_to).any(axis=0)


def _long_levels(held: Bools) -> Bools:
    """Return where a capture holds a level for longer than strewn losses last: a flaw of its own, for other rules."""
    found = np.zeros(held.shape, np.bool_)
    for own, level in zip(found, held, strict=True):
        for start, end in ranges_of(level, least=LONGEST_HOLD + 1):
            own[start:end] = True
    return found


def _of_single(surprise: Float64s) -> float:
    """Return what lost samples between good ones say, in nats: each by itself, where those in a row are one level."""
    beside = np.pad(surprise > 0, ((0, 0), (1, 1)))
    return float(surprise[~(beside[:, :-2] | beside[:, 2:])].sum())


def _by_rule(machine: Machine, lost: Bools, mean: Bools, held: Bools) -> Bools:
    """Return which lost samples of one capture stand as concealment leaves them.

    A mean has a good sample behind it. What is held goes on up to a mean, for a few samples; either may equal the
    tape's by chance, and is not among the lost ones then.
    """
    if machine.several != UP_TO_MEAN:
        beside = np.append(lost[1:], [False]) | np.append([False], lost[:-1])
        found = lost & ((mean & ~beside if machine.several == THROUGHOUT else mean) | held)
        return np.asarray(found, np.bool_)
    lost_next, marked_next = np.append(lost[1:], [False]), np.append((mean | held)[1:], [False])
    found = lost & ((mean & ~lost_next) | (held & marked_next))
    for start, end in ranges_of(lost & held, bridge=1):
        if not found[end - 1]:
            found[start:end] = False
    return np.asarray(found, np.bool_)
