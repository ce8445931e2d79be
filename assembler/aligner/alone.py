"""What a pass shows where no other one bears witness, and what all that cover a place agree on: mutes, holds and more.

All positions are timeline samples.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.bursts import LONGEST_BURST
from assembler.aligner.detecting import EDGE_SAMPLES, suspect_runs
from assembler.aligner.findings import FoundFlaw
from assembler.aligner.judging import CONTEXT_SAMPLES
from assembler.aligner.lone import LARGEST_LAG, LONE_CONTEXT, lone_flaws
from assembler.aligner.noting import is_unlike
from assembler.aligner.ranges import common, merged, pieces_of, total, without

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.findings import PlacedPass
    from assembler.aligner.noting import TrackNotes
    from assembler.aligner.ranges import Range

MOST_AGREEING = 8
"""Mutes on one track that all passes agree on from which they are rests."""

LONE_BLOCK = 1 << 17
LONE_MARGIN = max(2 * LARGEST_LAG, LONGEST_BURST) + 2 * LONE_CONTEXT
"""What is read beside a lone block: a repeat with its original, a burst, and the sound around them."""


def weigh_runs(
    passes: Sequence[PlacedPass],
    track: int,
    notes: TrackNotes,
    known: Mapping[str, list[Range]],
    step: int,
    full_scale: int,
) -> tuple[list[FoundFlaw], list[FoundFlaw]]:
    """Return the mutes and holds that comparison has not shown: of lone stretches, and of the tape itself."""
    alone: list[FoundFlaw] = []
    agreeing: list[FoundFlaw] = []
    runs_of = {index: merged(runs) for index, runs in notes.runs.items()}
    for index, runs in runs_of.items():
        for start, end in runs:
            kind = _kind_of_run(passes[index], track, (start, end), step, full_scale)
            # Beside another flaw of the same pass silence looks cut off by nature.
            beside = [(start - EDGE_SAMPLES, start), (end, end + EDGE_SAMPLES)]
            if not kind or (kind == "mute" and common(beside, known[passes[index].name])):
                continue
            # A pass that differs everywhere is no witness: it holds other numbers, right or wrong.
            others = [
                i
                for i, p in enumerate(passes)
                if i != index and common(p.covered(track), [(start, end)]) and not is_unlike(notes, i, index)
            ]
            covered = merged(piece for i in others for piece in passes[i].covered(track))
            wrong = merged(piece for i in others for piece in known[passes[i].name])
            # What has been judged already is left out; so is a level that two captures agree on, or against
            # which another one has been found wrong: it is the sound itself.
            for low, high in without([(start, end)], merged([*known[passes[index].name], *wrong])):
                shared = total(common([(low, high)], covered)) > 0
                if shared and kind == "hold":
                    continue
                # What looks cut off may be a rest beside a flaw: another pass shows sound dying away there.
                around = [(passes[i], _run_around(runs_of.get(i, []), (low, high))) for i in others]
                if any(
                    run
                    and not without([run], one.covered(track))
                    and not _kind_of_run(one, track, run, step, full_scale)
                    for one, run in around
                ):
                    continue
                flaw = FoundFlaw(passes[index].name, track, kind, low, high)
                alone.append(flaw)
                if shared:
                    agreeing.append(flaw)
    if len(agreeing) > MOST_AGREEING * len(passes):
        # Gated sound stops and sets in like that by nature, in every pass.
        return [flaw for flaw in alone if flaw not in agreeing], []
    return alone, agreeing


def _run_around(runs: Sequence[Range], place: Range) -> Range | None:
    """Return the run, of disjoint ones in order, that holds a whole place."""
    number = bisect_right(runs, place[0], key=lambda run: run[0]) - 1
    return runs[number] if number >= 0 and place[1] <= runs[number][1] else None


def flaws_alone(passes: Sequence[PlacedPass], track: int, step: int) -> list[FoundFlaw]:
    """Return what each pass shows by itself where no other one covers it."""
    found: list[FoundFlaw] = []
    for one in passes:
        covered = merged(piece for other in passes if other is not one for piece in other.covered(track))
        for held in one.covered(track):
            for low, high in pieces_of(without([held], covered), LONE_BLOCK):
                # Read a little further, but never over the end of a stretch: a slip is a splice too.
                first, last = max(held[0], low - LONE_MARGIN), min(held[1], high + LONE_MARGIN)
                found += [
                    FoundFlaw(one.name, track, kind, max(low, start + first), min(high, end + first))
                    for kind, (start, end) in lone_flaws(one.samples(track, first, last), step)
                    if start + first < high and end + first > low
                ]
    return found


def _kind_of_run(one: PlacedPass, track: int, run: Range, step: int, full_scale: int) -> str:
    start, end = run
    margin = CONTEXT_SAMPLES
    left = one.samples(track, start - margin, start + margin)
    if end - start > 2 * margin:
        # Only the edges of a long run tell anything; its middle is left out.
        right = one.samples(track, end - margin, end + margin)
        samples = np.concatenate((left, right))
    else:
        samples = one.samples(track, start - margin, end + margin)
    for kind, _ in suspect_runs(samples, step, full_scale):
        return kind
    return ""
