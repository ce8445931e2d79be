"""Of captures that differ in single samples: which of them lost which ones, and concealed that.

The likeliest truth is taken where concealment explains a patch of differences.

Audio is ``int64`` in sample values, shape ``(captures, samples)``; positions count from the window's first sample.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.evidence import borne_out, kept_to
from assembler.aligner.concealment.limits import DECIDED_NATS
from assembler.aligner.concealment.surprise import (
    by_chance,
    levels_of,
    may_be_explained,
    still_of,
    told_before,
)
from assembler.aligner.concealment.truth.likeliest import likeliest_truths
from assembler.aligner.records.limits import BRIDGE_SAMPLES, INSTANT_SAMPLES
from assembler.aligner.records.ranges import covering, ranges_of
from assembler.aligner.sound.limits import NOISE_SAMPLES
from assembler.arrays import summed, sums_around

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.concealment.truth.window import Choice, Window
    from assembler.arrays import Bools, Float64s, Int64s


@dataclass(frozen=True)
class Settled:
    """What is said of the differing samples of a window.

    Args:
        settled: where concealment explains the difference and one truth leads, shape (samples,).
        open: where it explains the difference, and no truth leads or none of the captures has it; and where all have
            likely lost the same.
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

    def part(self, which: slice) -> Settled:
        """Return what is said of some of the samples."""
        return Settled(*(getattr(self, one.name)[..., which] for one in fields(self)))


def settle(windows: Sequence[Window]) -> list[Settled]:
    """Return which captures lost which of the samples in which they differ; nothing where that has another cause.

    What a track shows too little of by itself is asked again, by what the others show nearby.

    Args:
        windows: of the tracks of a tape, all of one stretch.
    """
    if not any(map(may_be_explained, windows)):
        return [_nothing(*window.versions.shape) for window in windows]
    truths = likeliest_truths(windows)
    none = [np.zeros(window.versions.shape) for window in windows]
    said = [_settled(*one) for one in zip(windows, truths, none, strict=True)]
    left = [w.differing & ~one.settled & ~one.open for w, one in zip(windows, said, strict=True)]
    likely = _likely_beside(windows, said, left)
    return [
        _settled(window, truth, beside) if (beside * own_left).any() else one
        for window, truth, beside, own_left, one in zip(windows, truths, likely, left, said, strict=True)
    ]


def _likely_beside(
    windows: Sequence[Window], said: Sequence[Settled], left: Sequence[Bools]
) -> list[Float64s]:
    """Return how likely each capture lost a sample that differs, in nats, by what the other tracks show nearby.

    Args:
        windows: of the tracks.
        said: of each track, by itself.
        left: of each track, which samples differ for another reason.
    """
    lost = [
        {name: _nearby(own & one.settled) for name, own in zip(window.names, one.lost, strict=True)}
        for window, one in zip(windows, said, strict=True)
    ]
    all_lost: dict[str, Float64s] = {}
    for one in lost:
        for name, own in one.items():
            all_lost[name] = all_lost.get(name, 0.0) + own
    causes = [_nearby(own) for own in left]
    all_causes = summed(causes)
    return [
        np.stack([np.log(np.maximum(1.0, (all_lost[n] - own[n]) / (1 + all_causes - cause))) for n in own])
        for own, cause in zip(lost, causes, strict=True)
    ]


def _nearby(counted: Bools) -> Float64s:
    """Return how many are marked near each sample, of both parities."""
    return sums_around(counted.astype(np.float64), INSTANT_SAMPLES, INSTANT_SAMPLES + 1)


def _nothing(captures: int, size: int) -> Settled:
    return Settled(
        np.zeros(size, np.bool_),
        np.zeros(size, np.bool_),
        np.zeros(size, np.int64),
        np.zeros((captures, size), np.bool_),
        np.zeros(size),
        np.zeros((captures, size)),
    )


def _settled(window: Window, truth: tuple[Choice, Bools], beside: Float64s) -> Settled:
    (choice, lost_in_all), versions, differs = truth, window.versions, window.differing
    at = np.flatnonzero(differs)
    captures, size = versions.shape
    said = _nothing(captures, size)
    if not at.size:
        return said
    lost = np.zeros((captures, size), np.bool_)
    lost[:, at] = choice.lost
    still = still_of(versions)
    levels = levels_of(lost, still, beside > 0)
    surprise = np.where(levels, 0.0, by_chance(window, still) * kept_to(window, lost))
    told = np.where(told_before(versions) | (surprise == 0), 0.0, surprise + beside)
    # What is not as concealment leaves it may be any value.
    odd = np.where((lost & ~levels & ~(surprise > 0)).any(axis=0), window.bits * np.log(2.0), 0.0)
    level_alone = levels.any(axis=0) & ~(lost & ~levels).any(axis=0)
    explained = np.asarray(borne_out(differs, odd, told) & ~level_alone, np.bool_)
    accepted = explained[at]
    leads = choice.lead >= DECIDED_NATS
    has_truth = choice.truth < captures
    said.settled[at] = accepted & leads & has_truth
    said.open[at] = accepted & ~(leads & has_truth)
    said.taken[at] = np.where(has_truth, choice.truth, 0)
    lost &= said.settled | said.open
    said.lead[at] = choice.lead
    # Between what is explained all captures may have lost the same samples.
    in_all = lost_in_all & _between(explained)
    said.open[in_all] = True
    # Nobody is sent to a single sample: by concealment it is near the middle of its neighbours, right or wrong.
    single = said.open & (sums_around(said.open * 1, NOISE_SAMPLES, NOISE_SAMPLES + 1) == 1)
    said.settled[at] |= single[at] & has_truth
    said.open[single & (said.settled | ~differs)] = False
    in_all &= said.open
    surprise = np.where(lost, surprise, 0.0)
    return replace(said, lost=lost | (in_all & window.present), surprise=surprise)


def _between(explained: Bools) -> Bools:
    """Return the samples from the first to the last of each patch of some."""
    return covering(ranges_of(explained, bridge=BRIDGE_SAMPLES), 0, explained.size)
