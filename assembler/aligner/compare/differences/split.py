"""Places in which passes differ and none is outvoted, judged one by one.

All positions are timeline samples.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from assembler.aligner.compare.differences.beside import Beside
from assembler.aligner.compare.differences.pieces import is_level, judge_pieces
from assembler.aligner.compare.limits import MOST_DIFFERENCES
from assembler.aligner.compare.places import one_place_each
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided
from assembler.aligner.records.limits import BRIDGE_SAMPLES, READ_SAMPLES
from assembler.aligner.records.ranges import merged

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range


def judge_split(
    passes: Sequence[PlacedPass],
    track: int,
    members: tuple[int, ...],
    ranges: Sequence[Range],
    step: int,
    known: Sequence[FoundFlaw],
) -> tuple[list[FoundFlaw], list[Undecided]]:
    """Return the flaws and the undecided places where passes differ and none is outvoted."""
    flaws: list[FoundFlaw] = []
    undecided: list[Undecided] = []
    # Between differences all members hold the same.
    places = one_place_each(
        merged(ranges, bridge=BRIDGE_SAMPLES), partial(is_level, passes[members[0]], track)
    )
    if len(places) > MOST_DIFFERENCES:
        taken, *rest = (passes[index].name for index in members)
        coarse = merged(ranges, bridge=READ_SAMPLES)
        because = Because(Rule.TOO_MANY)
        return [], [Undecided(track, *place, taken, tuple(rest), because=because) for place in coarse]
    beside = Beside(passes, track, known)
    names = [passes[index].name for index in members]
    for place in places:
        before = [beside.is_flawed_before(name, place) for name in names]
        behind = [beside.is_flawed_behind(name, place) for name in names]
        if all(map(max, before, behind)):
            # Flaws of all of them may reach into the place: that more is known of one makes no other one right.
            before = behind = []
        parts = judge_pieces(passes, track, members, place, step, flawed_before=before, flawed_behind=behind)
        for (start, end), verdict in parts:
            because = verdict.because
            found = [
                FoundFlaw(name, track, kind, start, end, because=because)
                for name, kind in zip(names, verdict.kinds, strict=True)
                if kind
            ]
            flaws += found
            if verdict.decided:
                beside.add(found)
                continue
            taken, others = names[verdict.right], (*names[: verdict.right], *names[verdict.right + 1 :])
            undecided.append(
                Undecided(track, start, end, taken, others, verdict.is_doubtful, because=because)
            )
    return flaws, undecided
