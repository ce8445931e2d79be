"""Stretches that may lie at another shift than passes were placed at.

Between two anchors of one shift slips can undo each other: one pass loses a sample, a moment later another one does.
Compared there, all tracks differ at once; so where several tracks do, however it is judged, other shifts are tried.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.place.limits import SHORT_SAMPLES
from assembler.aligner.records.findings import NOISE_KINDS
from assembler.aligner.records.limits import BRIDGE_SAMPLES
from assembler.aligner.records.ranges import common, merged

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.aligner.records.findings import ReelFindings
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.timemap import TimeMap

DIFFERENCE_KINDS = (*NOISE_KINDS, "repeat")
"""What sound at another shift is called: it differs from what it is held against, and may stand there as well."""


def strayed_ranges(findings: ReelFindings, maps: Mapping[str, TimeMap]) -> dict[str, tuple[Range, ...]]:
    """Return of each pass the samples beside which two tracks, or more, differ for long enough to try other shifts.

    Args:
        findings: of a reel that was compared.
        maps: of its passes.
    """
    differing: dict[int, list[Range]] = {}
    for flaw in findings.flaws:
        if flaw.kind in DIFFERENCE_KINDS:
            differing.setdefault(flaw.track, []).append((flaw.start, flaw.end))
    for place in findings.undecided:
        differing.setdefault(place.track, []).append((place.start, place.end))
    once: list[Range] = []
    twice: list[Range] = []
    for ranges in differing.values():
        own = merged(ranges, bridge=BRIDGE_SAMPLES)
        twice = merged([*twice, *common(once, own)], bridge=BRIDGE_SAMPLES)
        once = merged([*once, *own])
    wide = [(start, end) for start, end in twice if end - start >= 4 * SHORT_SAMPLES]
    return {
        name: tuple(piece for place in wide for piece in time_map.pass_ranges(*place))
        for name, time_map in maps.items()
        if wide
    }
