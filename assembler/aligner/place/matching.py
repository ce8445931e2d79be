"""Finding one piece of audio in another, sample by sample.

Two good captures of a digital tape hold the same numbers, so the shift between them is found by counting equal
samples, not by likeness: a few dozen telling samples of the probe are compared with the reference at every
shift, and the shift most of them agree on is then confirmed on every sample. This is exact, needs no
spectra, and lets half of the probe be flawed.

All functions are pure. Audio is ``int32``, shape ``(samples,)``, one array per track.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.limits import LEAST_EVIDENCE, LEAST_VOTES, TELLING_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.arrays import Bools, Int32s, Int64s


@dataclass(frozen=True)
class Match:
    """Where a probe was found.

    Args:
        shift: reference index of the probe's first sample.
        identical: share of the probe's informative samples that are bit-identical there.
        evidence: number of those that are.
        rivals: other shifts that do as well: the audio repeats itself exactly.
    """

    shift: int
    identical: float
    evidence: int
    rivals: tuple[int, ...] = ()


def informative(samples: Int32s) -> Bools:
    """Return a mask of the samples that tell something: those that differ from the sample before them.

    Runs of one value (digital silence, mutes, held samples) agree with any other such run and prove nothing.
    """
    mask = np.empty(samples.shape, np.bool_)
    mask[:1] = False
    np.not_equal(samples[1:], samples[:-1], out=mask[1:])
    return mask


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece of a track, shape (samples,), of which nothing is found out twice."""

    samples: Int32s

    @cached_property
    def tells(self) -> Bools:
        """Which samples are informative, same shape."""
        return informative(self.samples)

    @cached_property
    def changes(self) -> int:
        """How many are."""
        return int(np.count_nonzero(self.tells))


def telling_positions(probe: Int32s, count: int) -> Int64s:
    """Return up to ``count`` positions whose values are unlikely to be met by chance.

    The probe is cut into as many parts as samples are wanted and the most outstanding informative sample of
    each part is taken, so that a flaw in one place spoils only its share.
    """
    usable = informative(probe)
    size = max(1, probe.size // count)
    whole = probe.size // size * size
    if whole == 0:
        return np.zeros(0, np.int64)
    weight = np.where(usable, np.abs(probe.astype(np.int64)) + 1, 0)[:whole].reshape(-1, size)
    best = weight.argmax(axis=1)
    rows = np.arange(best.size)
    chosen = weight[rows, best] > 0
    return np.asarray((rows * size + best)[chosen], np.int64)


def count_votes(
    reference: Sequence[Int32s], probe: Sequence[Int32s], telling: int = TELLING_SAMPLES
) -> Int64s:
    """Return, for every shift of the probe inside the reference, how many telling samples are identical.

    Args:
        reference: one array per track, all of one length.
        probe: one array per track, all of one length, not longer than the reference.
        telling: telling samples to take in all.

    Returns:
        Shape ``(reference length - probe length + 1,)``.
    """
    shifts = reference[0].size - probe[0].size + 1
    votes = np.zeros(shifts, np.int64)
    for reference_track, probe_track in zip(reference, probe, strict=True):
        for position in telling_positions(probe_track, max(1, telling // len(probe))):
            # Both sides of the change: the level after it alone is also found one sample later.
            sides = [position - 1]
            if position > 1 and probe_track[position - 1] != probe_track[position - 2]:
                sides.append(position - 2)
            beside = [reference_track[side : side + shifts] == probe_track[side] for side in sides]
            equal = reference_track[position : position + shifts] == probe_track[position]
            votes += equal & np.logical_or.reduce(beside)
    return votes


def proving(equal: Bools, tells: Bools) -> Bools:
    """Return which samples prove a place: they are identical in both passes, and so is one on the far side of a change.

    A square wave's level, held for many samples, would else agree at as many shifts. Where a pass lost every other
    sample no two neighbours are identical: there every other one is, three of them, since soft noise is by chance.

    Args:
        equal: which samples are identical, shape (samples,).
        tells: which samples differ from the one before them, same shape; see ``informative``.
    """
    found = equal & tells
    beside = np.zeros(equal.size, np.bool_)
    beside[1:] = equal[:-1]
    beside[4:] |= equal[2:-2] & equal[:-4] & tells[3:-1]
    found &= beside
    return found


def identity_at(reference: Sequence[Int32s], probe: Sequence[Int32s], shift: int) -> tuple[float, int]:
    """Return the share and the number of the probe's informative samples that prove ``shift``; see ``proving``."""
    seen = same = 0
    for reference_track, probe_track in zip(reference, probe, strict=True):
        mask = informative(probe_track)
        equal = reference_track[shift : shift + probe_track.size] == probe_track
        seen += int(np.count_nonzero(mask))
        same += int(np.count_nonzero(proving(equal, mask)))
    return (same / seen if seen else 0.0), same


def find_match(reference: Sequence[Int32s], probe: Sequence[Int32s], expected: int) -> Match | None:
    """Return where the probe lies in the reference, or None where nothing proves a place.

    Args:
        reference: one array per track, all of one length.
        probe: one array per track, all of one length.
        expected: the shift that timecode or neighbouring anchors expect; between places that fit equally
            well (music that repeats exactly) the nearest to it is taken.
    """
    if reference[0].size < probe[0].size:
        return None
    votes = count_votes(reference, probe)
    telling = sum(telling_positions(p, max(1, TELLING_SAMPLES // len(probe))).size for p in probe)
    top = int(votes.max(initial=0))
    if telling == 0 or top < max(3, LEAST_VOTES * telling):
        return None
    candidates = np.flatnonzero(votes >= 0.8 * top)
    candidates = candidates[np.argsort(-votes[candidates], kind="stable")][:16]
    tried = [(identity_at(reference, probe, int(c)), int(c)) for c in candidates]
    best_count = max(count for (_, count), _ in tried)
    if best_count < LEAST_EVIDENCE:
        return None
    equals = [(share, count, shift) for (share, count), shift in tried if count >= 0.98 * best_count]
    share, count, shift = min(equals, key=lambda row: abs(row[2] - expected))
    return Match(shift, share, count, tuple(sorted(s for _, _, s in equals if s != shift)))
