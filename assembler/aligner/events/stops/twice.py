"""Stretches that all tracks of a pass hold once more at once: a buffer written twice.

A recorder that comes too late writes what it wrote before, on all tracks. Loops repeat to the sample as well, but not
on every track, and not just where another pass holds something else; where there is none they repeat oftener.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.stops.stop import Stop
from assembler.aligner.flaws.limits import LINE_SAMPLES
from assembler.aligner.records.limits import BRIDGE_SAMPLES, LEAST_TRACKS
from assembler.aligner.records.ranges import common, merged, ranges_of, without
from assembler.aligner.sound.copies import checksum, sounding_in, standing_twice
from assembler.aligner.sound.limits import LEAST_RUN

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Int32s


def find_repeats(
    held: Mapping[int, Sequence[Int32s]],
    covered: Mapping[int, Sequence[Range]],
    low: int,
    tracks: Sequence[int],
) -> dict[int, list[Stop]]:
    """Return where each pass holds on all tracks what it held before, and another one does not.

    Args:
        held: samples of each pass, one array a track, all of one length; the same array where passes hold the same.
        covered: where each pass holds all of these tracks.
        low: timeline sample of the first one.
        tracks: tape tracks that the arrays are of, from 0.
    """
    found: dict[int, list[Stop]] = {}
    for pair in combinations(held, 2):
        differing = _differing(*(held[index] for index in pair))
        if differing is None:
            continue
        for index, other in (pair, pair[::-1]):
            own, theirs = held[index], held[other]
            for start, end in _repeats(own, theirs, differing):
                place = start + low, end + low
                if without([place], covered[index]) or without([place], covered[other]):
                    continue
                each = zip(tracks, own, theirs, strict=True)
                told = frozenset(t for t, mine, true in each if (mine[start:end] != true[start:end]).any())
                found.setdefault(index, []).append(Stop(*place, "repeat", told))
    return dict(sorted(found.items()))


def find_lone_repeats(
    held: Mapping[int, Sequence[Int32s]],
    covered: Mapping[int, Sequence[Range]],
    silent: Mapping[int, Sequence[Range]],
    low: int,
    tracks: Sequence[int],
) -> dict[int, list[Stop]]:
    """Return where a pass holds on all tracks what it held right before, and no other one bears witness.

    Three tracks that differ have to sound there: what is played twice is so on fewer.

    Args:
        held: samples of each pass, one array a track, all of one length.
        covered: where each pass holds all of these tracks.
        silent: where each pass stands still.
        low: timeline sample of the first one.
        tracks: tape tracks that the arrays are of, from 0.
    """
    found: dict[int, list[Stop]] = {}
    for index, own in held.items():
        block = common([(low, low + own[0].size)], covered[index])
        heard = [
            place
            for other in held
            if other != index
            for place in without(covered[other], silent.get(other, ()))
        ]
        lone = [place for place in without(block, merged(heard)) if place[1] - place[0] >= BRIDGE_SAMPLES]
        for start, end, _ in standing_twice(checksum(own), BRIDGE_SAMPLES) if lone else ():
            place = start + low, end + low
            if sounding_in(own, slice(start, end)) and not without([place], lone):
                told = frozenset(t for t, one in zip(tracks, own, strict=True) if np.ptp(one[start:end]))
                found.setdefault(index, []).append(Stop(*place, "repeat", told, is_witnessed=False))
    return found


@dataclass(frozen=True)
class _Differing:
    """Where two passes differ on several tracks.

    Args:
        counts: on how many, shape (samples,).
        places: in order, those long enough.
    """

    counts: NDArray[np.int8]
    places: list[Range]


def _differing(first: Sequence[Int32s], second: Sequence[Int32s]) -> _Differing | None:
    """Return where two passes differ on several tracks; None where they do not for long enough."""
    unlike = [(one, other) for one, other in zip(first, second, strict=True) if one is not other]
    if len(unlike) < LEAST_TRACKS:
        return None
    counts = np.zeros(first[0].size, np.int8)
    for one, other in unlike:
        counts += one != other
    places = ranges_of(counts >= LEAST_TRACKS, bridge=LEAST_RUN, least=2 * LEAST_RUN)
    return _Differing(counts, places) if places else None


def _repeats(own: Sequence[Int32s], theirs: Sequence[Int32s], differing: _Differing) -> Iterator[Range]:
    """Yield the places in which one pass repeats itself and differs from another."""
    unlike = [mine for mine, true in zip(own, theirs, strict=True) if mine is not true]
    for start, end in differing.places:
        lead = max(unlike, key=lambda one: np.count_nonzero(np.diff(one[start:end])))
        # Where the other pass is flawed beside it not all of the place stands twice.
        for at in (start + part * (end - start) // 4 for part in (1, 2, 3)):
            run = next((run for lag in _lags(own, lead, at) if (run := _run(own, at, lag))), None)
            if run and _is_no_loop(own, run, (start, end)):
                inside = np.flatnonzero(differing.counts[slice(*run)])
                yield run[0] + int(inside[0]), run[0] + int(inside[-1]) + 1
                break


def _lags(tracks: Sequence[Int32s], lead: Int32s, at: int) -> Iterator[int]:
    """Yield how long before a place all tracks hold the same samples, the nearest first.

    Args:
        tracks: of a pass.
        lead: the one that tells most; where it stands still nothing does.
        at: first sample of the place.
    """
    probe = lead[at : at + LEAST_RUN]
    if np.unique(probe).size < LEAST_RUN // 2:
        return
    # Blocks that are read overlap by twice as much.
    first = max(0, at - 2 * LINE_SAMPLES)
    for earlier in np.flatnonzero(lead[first:at] == probe[0])[::-1] + first:
        there = slice(earlier, earlier + LEAST_RUN)
        if all(np.array_equal(one[there], one[at : at + LEAST_RUN]) for one in (lead, *tracks)):
            yield at - int(earlier)


def _run(tracks: Sequence[Int32s], at: int, lag: int) -> Range | None:
    """Return the stretch around a place that all tracks hold a second time; None where it is short."""
    size = tracks[0].size
    first, last = max(lag, at - 2 * LINE_SAMPLES), min(size, at + 2 * LINE_SAMPLES)
    same: Bools = np.all([one[first:last] == one[first - lag : last - lag] for one in tracks], axis=0)
    if first > at or not same[at - first]:
        return None
    breaks = np.flatnonzero(~same) + first
    before, behind = breaks[breaks < at], breaks[breaks > at]
    start = int(before[-1]) + 1 if before.size else first
    end = int(behind[0]) if behind.size else last
    return (start, end) if end - start >= 2 * LEAST_RUN else None


def _is_no_loop(tracks: Sequence[Int32s], run: Range, place: Range) -> bool:
    """Return whether what stands twice lies where passes differ: what sounds again by nature does so beside it, too."""
    moving = np.sum([np.diff(one[slice(*run)]) != 0 for one in tracks], axis=0) >= LEAST_TRACKS
    at = np.flatnonzero(moving) + run[0]
    return bool(np.count_nonzero((at < place[0]) | (at >= place[1])) <= BRIDGE_SAMPLES)
