"""Which anchors are believed, and short ones between slips close to each other.

Positions are samples of the two passes themselves; see ``place.anchors``.
"""

from __future__ import annotations

from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from assembler.aligner.place.anchors import anchor_at, anchor_near, read_all
from assembler.aligner.place.limits import ANCHOR_SAMPLES, LEAST_EVIDENCE, SEARCH_SAMPLES, SHORT_SAMPLES
from assembler.aligner.place.matching import identity_at
from assembler.aligner.records.limits import NEARLY_ALL, VISIT_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.place.anchors import Anchor
    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range


def find_closer(
    reference: TrackReader, probe: TrackReader, runs: Sequence[Sequence[Anchor]], strayed: Sequence[Range]
) -> list[Anchor]:
    """Return short anchors, end to end, between runs whose shifts differ by more than a sample, and where told to look.

    Slips that lie closer to each other than anchors stand look like one, by as much as all of them together, or like
    none.
    """
    between = [
        (last.end, behind[0].at, (last.shift, behind[0].shift))
        for before, behind in pairwise(runs)
        for last in [before[-1]]
        if 1 < abs(behind[0].shift - last.shift) <= SEARCH_SAMPLES
    ]
    found = []
    for first, end, shifts in [*between, *_beside(runs, strayed)]:
        radius = max(VISIT_SAMPLES, abs(shifts[1] - shifts[0]))
        for at in range(first, end - SHORT_SAMPLES + 1, SHORT_SAMPLES):
            samples = read_all(probe, at, SHORT_SAMPLES)
            anchor = (
                anchor_at(reference, samples, at, shifts[0])
                or anchor_at(reference, samples, at, shifts[1])
                or anchor_near(reference, samples, at, sum(shifts) // 2, radius, shifts[0])
            )
            if anchor is not None:
                found.append(anchor)
    return found


def _beside(
    runs: Sequence[Sequence[Anchor]], strayed: Sequence[Range]
) -> list[tuple[int, int, tuple[int, int]]]:
    """Return ranges with the shifts before and behind them."""
    anchors = [anchor for run in runs for anchor in run]
    beside = []
    for start, end in strayed:
        before = [anchor for anchor in anchors if anchor.at < start] or anchors[:1]
        behind = [anchor for anchor in anchors if anchor.end > end] or anchors[-1:]
        beside.append((start, end, (before[-1].shift, behind[0].shift)))
    return beside


def steady_runs(reference: TrackReader, probe: TrackReader, anchors: Sequence[Anchor]) -> list[list[Anchor]]:
    """Return runs of neighbouring anchors with one shift, less those that a chance or a repeat flaw explains.

    A lone anchor, or a few short ones, between others of one shift is not believed: a block that a machine repeated
    matches one block off. Two that are off by less than a block are: one clock slipped, then the other. One at the end
    of the overlap, or between two shifts, is believed where its close surroundings agree.
    """
    runs = [
        list(run) for _, run in groupby(_reread(reference, probe, anchors), key=lambda anchor: anchor.shift)
    ]
    if len(runs) > 1:
        shifts = [None, *(run[0].shift for run in runs), None]
        kept = [
            run
            for run, before, behind in zip(runs, shifts, shifts[2:], strict=False)
            if run[-1].end - run[0].at > ANCHOR_SAMPLES
            or (
                before is not None and run[-1].at >= run[0].end and abs(run[0].shift - before) < SHORT_SAMPLES
            )
            or (
                before != behind
                and _is_steady(reference, probe, run[0], [s for s in (before, behind) if s is not None])
            )
        ]
        runs = kept or [max(runs, key=lambda run: run[0].evidence)]
    joined: list[list[Anchor]] = []
    for run in runs:
        if joined and joined[-1][-1].shift == run[0].shift:
            joined[-1].extend(run)
        else:
            joined.append(run)
    return joined


def _reread(reference: TrackReader, probe: TrackReader, anchors: Sequence[Anchor]) -> list[Anchor]:
    """Return anchors, those that are found in part only at the shift of a neighbouring run where more is identical.

    One may lie too far from timecode's place to be found, and music that repeats itself matches in part elsewhere.
    """
    runs = [list(run) for _, run in groupby(anchors, key=lambda anchor: anchor.shift)]
    found: list[Anchor] = []
    for number, run in enumerate(runs):
        shifts = [other[0].shift for other in runs[max(0, number - 1) : number + 2] if other is not run]
        for one in run:
            samples = read_all(probe, one.at, one.samples) if one.identical < NEARLY_ALL else []
            others = [anchor_at(reference, samples, one.at, shift) for shift in shifts if samples]
            found.append(
                max((one, *(other for other in others if other)), key=lambda anchor: anchor.evidence)
            )
    return found


def _is_steady(reference: TrackReader, probe: TrackReader, anchor: Anchor, shifts: Sequence[int]) -> bool:
    """Return whether the audio beside an anchor, on either side, lies at its shift, and far less at its neighbours'.

    Where a pass lost every other sample, less than half of them are identical at any shift.
    """
    places = (anchor.at - anchor.samples, anchor.at + anchor.samples)
    for at in places:
        if 0 <= at <= probe.length - anchor.samples:
            samples = read_all(probe, at, anchor.samples)
            own, *others = (
                identity_at(read_all(reference, at + shift, anchor.samples), samples, 0)[1]
                for shift in (anchor.shift, *shifts)
            )
            if own >= max(LEAST_EVIDENCE, 2 * max(others)):
                return True
    return False
