"""Which samples of a session are right, of which pass, and what flawed stretches are: masks over the truth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.demo.medium.causes import Cause
from assembler.demo.medium.concealment import Made

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assembler.demo.medium.recorder import Capture
    from scripts.bench.medium_sessions import Session

    Mask = NDArray[np.bool_]

APART = 1440
"""Wrong samples of a track that lie closer are one stretch: two sweeps of 15 ms."""
CLOSE = 64
"""Wrong samples that lie closer leave nothing between them that one pass alone could be taken for."""
FEWEST_MEANS = 100
QUIET = 16 << 8
"""Sound below this (RMS, steps of 24 bits; 16 of 16 bits) counts as silence for what means can tell."""


def stretches(wrong: Mask) -> list[tuple[int, int]]:
    """Return ranges of wrong samples that lie together."""
    index = np.flatnonzero(wrong)
    if not len(index):
        return []
    cuts = np.flatnonzero(np.diff(index) > APART)
    starts = index[np.concatenate([[0], cuts + 1])]
    ends = index[np.concatenate([cuts, [len(index) - 1]])] + 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def wrong_samples(session: Session, one: Capture) -> Mask:
    """Return which samples of a capture are not the tape's; a chain that is not transparent has none of them."""
    return np.asarray((one.words != session.tape[:, one.place]) | (one.causes == Cause.CHAIN))


def witnesses(session: Session, wrong: list[Mask], row: int) -> tuple[Mask, Mask, Mask]:
    """Return by tape sample: some pass is right; only several passes together are; any is there."""
    length = session.tape.shape[1]
    some, covered = np.zeros(length, np.bool_), np.zeros(length, np.bool_)
    every = np.ones(length, np.bool_)
    for one, bad in zip(session.captures, wrong, strict=True):
        some[one.place[~bad[row]]] = True
        covered[one.place] = True
        # Where a pass is not, or lost samples, it bears no witness.
        good = np.zeros(length, np.bool_)
        good[one.place] = ~_closed(bad[row])
        every &= ~good
    return some, _long(some & every, CLOSE), covered


def _long(mask: Mask, least: int) -> Mask:
    """Return what belongs to longer runs: between two wrong samples of one pass there are none, it needs a second."""
    edges = np.flatnonzero(np.diff(mask, prepend=False, append=False))
    out = np.zeros(len(mask), np.bool_)
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        out[start:end] = end - start > least
    return out


def _closed(wrong: Mask) -> Mask:
    """Return the same with short gaps filled."""
    index = np.flatnonzero(wrong)
    near = np.flatnonzero(np.diff(index) <= CLOSE)
    depth = np.zeros(len(wrong) + 1, np.int8)
    depth[index[near]] += 1
    depth[index[near + 1]] -= 1
    return np.asarray(wrong | (np.cumsum(depth[:-1]) > 0))


def hurt(session: Session, wrong: list[Mask]) -> Mask:
    """Return which of the tape's samples some pass has wrong, or near which it lost its place."""
    found = np.zeros(session.tape.shape, np.bool_)
    for one, bad in zip(session.captures, wrong, strict=True):
        for row, own in enumerate(bad):
            found[row, one.place[own & (one.causes[row] != Cause.CHAIN)]] = True
        for at in one.slips:
            around = one.place[max(0, at - APART) : at + APART]
            found[:, around[0] : around[-1] + 1] = True
    return found


def moved(mask: Mask, at: NDArray[np.int64], inside: Mask) -> Mask:
    """Return a mask over the tape as one over the set whose samples lie ``at`` the tape's."""
    out = np.zeros(len(at), np.bool_)
    out[inside] = mask[at[inside]]
    return out


def looked_up(
    rows: list[NDArray[np.uint8]], source: NDArray[np.int8], index: NDArray[np.int64]
) -> NDArray[np.uint8]:
    """Return what a row of each pass says about samples that come from now one pass, now another."""
    out = np.zeros(len(source), np.uint8)
    for place, values in enumerate(rows):
        mine = np.flatnonzero((source == place) & (index >= 0) & (index < len(values)))
        out[mine] = values[index[mine]]
    return out


def named(made: NDArray[np.uint8], truth: NDArray[np.int64]) -> str:
    """Return the kind of a flawed stretch: means are told apart by number and by whether there is sound."""
    kind = Made(commonest(made))
    if kind == Made.TAPE:
        return "elsewhere"
    if kind != Made.MEAN:
        return kind.name.lower()
    if np.sqrt(np.mean(truth.astype(np.float64) ** 2)) < QUIET:
        return "means, quiet"
    return "means" if int((made == Made.MEAN).sum()) >= FEWEST_MEANS else "means, few"


def commonest(values: NDArray[np.uint8]) -> int:
    """Return the value that stands there most often, 0 of none."""
    return int(np.argmax(np.bincount(values))) if len(values) else 0
