"""What flaws point at, reel by reel: the tape, the machine, a part of it that turns; or nothing.

A place that is flawed in every pass over it points at the tape; one that is flawed in a single pass, and right in
another, at the machine. Where only one pass holds a place nothing can be said of it. Common practice, no source.
Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.because import SLIPPED
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.limits import HALF, MOST_TRIED, WINDOW_SAMPLES
from assembler.aligner.records.ranges import are_inside, common, merged, ranges_of
from assembler.aligner.tell.limits import LONGEST_TURN_SECONDS, MOST_CHANCE, PLACE_SECONDS, TURN_SHARE
from assembler.arrays import distinct

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from assembler.aligner.records.findings import ReelFindings
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Float64s, Int64s


@dataclass(frozen=True)
class Causes:
    """The flawed places of one reel by what they point at, all tracks together.

    Args:
        tape: places flawed in every pass that holds them.
        flaws: those of the tape, as far as they lie in these places.
        weak: places flawed in several passes and right in another.
        machine: for each pass, places flawed in it alone, and right in another.
        untold: for each pass, flawed places that no other pass holds.
    """

    tape: tuple[Range, ...]
    flaws: tuple[FoundFlaw, ...]
    weak: tuple[Range, ...]
    machine: Mapping[str, tuple[Range, ...]]
    untold: Mapping[str, tuple[Range, ...]]


def find_causes(
    passes: Sequence[PlacedPass], findings: ReelFindings, unsure: Collection[tuple[str, int]] = ()
) -> Causes:
    """Return what the flaws of a reel point at.

    A place that is undecided points at nothing, and a pass that holds other numbers all along bears no witness. Where
    passes merely disagree, as beside a slip whose place is not sure, none of them is known to be flawed. Unsure are
    slips that may as well be another pass's: pass and the pass sample after them.
    """
    tape: list[Range] = []
    own: list[FoundFlaw] = []
    weak: list[Range] = []
    machine: dict[str, list[Range]] = {one.name: [] for one in passes}
    untold: dict[str, list[Range]] = {one.name: [] for one in passes}
    for track in range(max((len(one.maps) for one in passes), default=0)):
        witnesses = _witnesses(passes, findings, track)
        flaws = [_flaws_of(one, findings, track, unsure) for one in witnesses]
        shared, several, alone, single = _by_holders(witnesses, flaws, track)
        tape += shared
        doubted = merged((place.start, place.end) for place in findings.undecided if place.track == track)
        for one, bad, right_elsewhere, lone in zip(witnesses, flaws, alone, single, strict=True):
            for place in _spans_of(bad):
                if common([place], shared):
                    own += [flaw for flaw in bad if common([place], [(flaw.start, flaw.end)])]
                elif common([place], doubted):
                    continue
                elif common([place], several):
                    weak.append(place)
                elif common([place], right_elsewhere):
                    machine[one.name].append(place)
                elif common([place], lone):
                    untold[one.name].append(place)
    places = _places_of(tape, [])
    worn = _places_of(weak, places)
    blamed = merged([*places, *worn])
    return Causes(
        places,
        tuple(own),
        worn,
        {name: _places_of(ranges, blamed) for name, ranges in machine.items()},
        {name: _places_of(ranges, blamed) for name, ranges in untold.items()},
    )


def _places_of(ranges: Sequence[Range], tape: Sequence[Range]) -> tuple[Range, ...]:
    """Return places of all tracks together; where the tape is to blame on one track it is for the others too."""
    places = merged(ranges, bridge=WINDOW_SAMPLES)
    return tuple(place for place in places if not common([place], tape))


def _spans_of(flaws: Iterable[FoundFlaw]) -> list[Range]:
    return merged((flaw.start, flaw.end) for flaw in flaws)


def _witnesses(passes: Sequence[PlacedPass], findings: ReelFindings, track: int) -> list[PlacedPass]:
    """Return the passes that hold a track, in the order of trust, but for those of other numbers all along."""
    holding = [one for one in passes if one.covered(track)]
    kept: list[str] = []
    for name in findings.by_standing([one.name for one in holding], track):
        if not any(findings.are_unlike(other, name, track) for other in kept):
            kept.append(name)
    return [one for one in holding if one.name in kept]


def _slips(one: PlacedPass, track: int, unsure: Collection[tuple[str, int]]) -> list[FoundFlaw]:
    """Return the slips of a pass as flaws: where samples were lost; where some were repeated, the next sample."""
    return [
        FoundFlaw(one.name, track, "slip", at, max(b.timeline_start, at + 1), because=SLIPPED)
        for a, b in pairwise(one.maps[track].stretches)
        for at in [a.timeline_end]
        if not {(one.name, b.pass_start), (one.name, a.pass_end)} & set(unsure)
    ]


def _flaws_of(
    one: PlacedPass, findings: ReelFindings, track: int, unsure: Collection[tuple[str, int]]
) -> list[FoundFlaw]:
    """Return the flaws of a pass on one track where it holds samples, and its slips."""
    covered = merged(one.covered(track))
    return _slips(one, track, unsure) + [
        FoundFlaw(one.name, track, flaw.kind, *piece, because=flaw.because)
        for flaw in findings.flaws
        if flaw.track == track and flaw.pass_name == one.name
        for piece in common([(flaw.start, flaw.end)], covered)
    ]


def _by_holders(
    passes: Sequence[PlacedPass], flaws: Sequence[Sequence[FoundFlaw]], track: int
) -> tuple[list[Range], list[Range], list[list[Range]], list[list[Range]]]:
    """Return where every pass is flawed, and where several are; for each where it alone is, and where it is alone."""
    bad = [_spans_of(own) for own in flaws]
    plain = [_spans_of(flaw for flaw in own if flaw.kind != "disagreement") for own in flaws]
    held = [merged([*one.covered(track), *one.maps[track].lost()]) for one in passes]
    rows = (*bad, *plain, *held)
    edges = distinct(np.array([edge for row in rows for one in row for edge in one], np.int64))
    if not edges.size:
        return [], [], [[] for _ in passes], [[] for _ in passes]
    is_held, is_bad, is_plain = (
        np.stack([are_inside(edges, ranges) for ranges in rows]) for rows in (held, bad, plain)
    )
    holders, flawed = is_held.sum(axis=0), is_bad.sum(axis=0)
    shared = (holders > 1) & (is_plain == is_held).all(axis=0)
    return (
        _ranges(shared, edges),
        _ranges((flawed > 1) & (flawed < holders) & (is_plain.sum(axis=0) == flawed), edges),
        [_ranges(row & (flawed == 1) & (holders > 1), edges) for row in is_bad],
        [_ranges(row & (holders == 1), edges) for row in is_bad],
    )


def _ranges(mask: Bools, edges: Int64s) -> list[Range]:
    return [(int(edges[first]), int(edges[last])) for first, last in ranges_of(mask)]


def steady_interval(starts: Int64s, sample_rate: int) -> float | None:
    """Return the interval in samples at which places follow one another, or None where they come at random.

    Each gap between two places is tried as a turn. A gap fits where it is a whole number of turns as nearly as flaws
    are found to begin; gaps of several turns are left by turns that did no harm. The interval that chance explains
    worst is reported if it explains it hardly at all (binomial tail, all intervals tried counted) and a part may turn
    so slowly.

    Args:
        starts: shape (n,), rising.
        sample_rate: in samples per second.
    """
    gaps = (apart := np.diff(starts))[apart > 0].astype(np.float64)
    if not gaps.size:
        return None
    tried = np.quantile(gaps, np.linspace(0, 1, min(gaps.size, MOST_TRIED)))
    rated = [_rated(gaps, float(gap), early * sample_rate) for gap in tried for early in PLACE_SECONDS]
    chance, interval = min(rated)
    is_steady = chance + np.log(len(rated)) <= np.log(MOST_CHANCE)
    return interval if is_steady and interval <= LONGEST_TURN_SECONDS * sample_rate else None


def _rated(gaps: Float64s, interval: float, early: float) -> tuple[float, float]:
    """Return the logarithm of the chance that so many gaps fit an interval, and the interval made to fit them."""
    for _ in range(2):
        turns = np.rint(gaps / interval)
        allowed = max(2 * early, TURN_SHARE * interval)
        fits = (turns >= 1) & (np.abs(gaps - turns * interval) <= allowed)
        if not fits.any():
            return 0.0, interval
        interval = float(np.sum(gaps[fits]) / np.sum(turns[fits]))
    count, share = int(fits.sum()), 2 * allowed / interval
    if count < HALF * gaps.size or share >= HALF:
        return 0.0, interval
    # One gap fits by itself: the interval was taken from it.
    return log_tail(count - 1, gaps.size - 1, share), interval


def log_tail(least: int, trials: int, share: float) -> float:
    """Return the logarithm of the chance that of so many trials, each hit by ``share``, at least so many are hit."""
    if least <= 0:
        return 0.0
    hits = np.arange(least, trials + 1)
    # Of the logarithms of factorials; the library's own tail takes a second to load.
    factorials = np.concatenate(([0.0], np.cumsum(np.log(np.arange(1, trials + 1)))))
    terms = factorials[trials] - factorials[hits] - factorials[trials - hits]
    terms += hits * np.log(share) + (trials - hits) * np.log1p(-share)
    return min(0.0, float(np.logaddexp.reduce(terms)))
