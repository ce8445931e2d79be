"""Which anchors are believed, and short ones between slips close to each other.

Positions are samples of the two passes themselves; see ``place.anchors``.
"""

from __future__ import annotations

from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from assembler.aligner.place.anchors import anchor_at, anchor_near, read_all
from assembler.aligner.place.limits import ANCHOR_SAMPLES, ANCHOR_SPACING, LEAST_EVIDENCE, SHORT_SAMPLES
from assembler.aligner.place.matching import identity_at
from assembler.aligner.records.limits import NEARLY_ALL

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.place.anchors import Anchor
    from assembler.aligner.records.passes import TrackReader


def find_closer(reference: TrackReader, probe: TrackReader, runs: Sequence[Sequence[Anchor]]) -> list[Anchor]:
    """Return short anchors, end to end, between runs whose shifts differ by more than a sample.

    Slips that lie closer to each other than anchors stand look like one, by as much as all of them.
    """
    found = []
    for before, behind in pairwise(runs):
        last, change = before[-1], behind[0].shift - before[-1].shift
        if not 1 < abs(change) <= ANCHOR_SPACING:
            continue
        for at in range(last.end, behind[0].at - SHORT_SAMPLES + 1, SHORT_SAMPLES):
            samples = read_all(probe, at, SHORT_SAMPLES)
            anchor = (
                anchor_at(reference, samples, at, last.shift)
                or anchor_at(reference, samples, at, behind[0].shift)
                or anchor_near(reference, samples, at, last.shift + change // 2, abs(change), last.shift)
            )
            if anchor is not None:
                found.append(anchor)
    return found


def steady_runs(reference: TrackReader, probe: TrackReader, anchors: Sequence[Anchor]) -> list[list[Anchor]]:
    """Return runs of neighbouring anchors with one shift, less those that a chance or a repeat flaw explains.

    A lone anchor, or a few short ones, between others of one shift is not believed: a block that a machine repeated
    matches one block off. One at the end of the overlap, or between two shifts, is believed where its close
    surroundings agree.
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
