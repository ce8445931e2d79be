"""Where captures differ, gathered into places that are judged as one; and where they do not, what looks lost.

All positions are timeline samples.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.evidence import may_be_lost
from assembler.aligner.concealment.marks import Machine
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, flawed_ranges
from assembler.aligner.records.limits import MOST_GAP_SAMPLES, NEAR_SAMPLES, READ_SAMPLES
from assembler.aligner.records.ranges import common, merged, pieces_of, without
from assembler.aligner.sound.limits import LEAST_RUN, NOISE_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.compare.notes import TrackNotes
    from assembler.aligner.concealment.reel import Comparison
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s


def one_place_each(ranges: Sequence[Range], holds: Callable[[Range], bool]) -> list[Range]:
    """Return differences with those taken together that are likely to be of one flaw.

    A level held over a square wave differs from it in every other half period only; one out of phase, at every edge.
    ``holds`` says whether captures hold one level in a range: it may have been held before and may be behind.
    """
    joined: list[Range] = []
    length = 0
    keeps_pace = _keeping_pace(ranges)
    for (start, end), is_next in zip(ranges, keeps_pace, strict=True):
        gap = start - joined[-1][1] if joined else 0
        is_near = gap <= 1.5 * max(length, end - start) or is_next
        if joined and gap <= MOST_GAP_SAMPLES and (is_near or holds((joined[-1][1], start))):
            joined[-1] = joined[-1][0], end
        else:
            joined.append((start, end))
        length = end - start
    return joined


def _keeping_pace(ranges: Sequence[Range]) -> list[bool]:
    """Return of each range whether it follows the one before at the pace of the one after it, or of two before."""
    paces = [behind - before for (before, _), (behind, _) in pairwise(ranges)]
    steady = [abs(second - first) <= NEAR_SAMPLES for first, second in pairwise(paces)]
    return [False, *(any(pair) for pair in zip([False, *steady], [*steady, False], strict=True))][
        : len(ranges)
    ]


def silence_around(one: PlacedPass, track: int, place: Range) -> Range:
    """Return a place of zeros with all zeros beside it that the pass holds without a break."""
    low, high = place
    for first, last in one.covered(track):
        if not first <= place[0] < last:
            continue
        while first < low:
            before = one.samples(track, max(first, low - READ_SAMPLES), low)
            sounding = np.flatnonzero(before)
            low -= before.size - 1 - int(sounding[-1]) if sounding.size else before.size
            if sounding.size:
                break
        while high < last:
            behind = one.samples(track, high, min(last, high + READ_SAMPLES))
            sounding = np.flatnonzero(behind)
            high += int(sounding[0]) if sounding.size else behind.size
            if sounding.size:
                break
    return low, high


def losses_without_witness(
    passes: Sequence[PlacedPass],
    notes: TrackNotes,
    comparison: Comparison,
    asked: Sequence[Range],
    flaws: Sequence[FoundFlaw],
) -> list[FoundFlaw]:
    """Return where a pass shows by itself that it lost samples: where passes do not differ, or put nothing down to it.

    Strewn losses are placed by windows, on all tracks alike: what is left of one behind the last difference is its
    border, and a track lost nothing where none of its samples is what concealment leaves. ``asked`` is where each
    sample that differs has been asked what it is: what another pass lost alike is hidden there.
    """
    found = []
    track, machines = comparison.track, dict(zip(comparison.names, comparison.machines, strict=True))
    for index, noted in notes.means.items():
        one = passes[index]
        places, rows = (
            merged(place for place, _ in noted),
            np.array([(*place, nats) for place, nats in noted]),
        )
        known = flawed_ranges(flaws, one.name)
        machine = machines.get(one.name, Machine())
        for place in common(merged(places, bridge=MOST_GAP_SAMPLES), merged(one.covered(track))):
            own = [part for part in without([place], asked) if not _is_border(part, asked)]
            # A window may show losses so far before and behind them.
            reach, near = 2 * NOISE_SAMPLES, common([place], known)
            hidden = without(common(common(places, [place]), asked), merged(near, bridge=reach))
            own += [part for part in hidden if part[1] - part[0] > reach or not near]
            own = [part for whole in own for part in _shown(one, track, whole, comparison.step, machine)]
            found += [FoundFlaw(one.name, track, "means", *p, because=_proof(rows, p)) for p in own]
    return found


def _proof(rows: Float64s, place: Range) -> Because:
    """Return the rule, with what losses say in a place, in nats: that of each is shared out over its samples.

    Rows are first sample, first one behind it and nats of each, shape (losses, 3).
    """
    starts, ends, nats = rows.T
    inside = np.minimum(ends, place[1]) - np.maximum(starts, place[0])
    return Because(Rule.STREWN, float((nats * np.maximum(inside, 0) / (ends - starts)).sum()))


def _shown(one: PlacedPass, track: int, place: Range, step: int, machine: Machine) -> list[Range]:
    """Return a place where a pass holds what concealment leaves in it; its end alone where only a level's end does."""
    end = max(place[0], place[1] - LEAST_RUN)
    for found, part in ((place, (place[0], end)), ((end, place[1]), (end, place[1]))):
        for low, high in pieces_of([part], READ_SAMPLES):
            samples = one.samples(track, low - LEAST_RUN, high + LEAST_RUN).astype(np.int64)
            if may_be_lost(samples, step, machine)[LEAST_RUN:-LEAST_RUN].any():
                return [found]
    return []


def _is_border(place: Range, asked: Sequence[Range]) -> bool:
    is_short = place[1] - place[0] < NOISE_SAMPLES
    return is_short and bool(common([(place[0] - 1, place[1] + 1)], asked))
