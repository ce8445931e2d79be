"""What puts a verdict in doubt: a level that lasts through a part; a wave that is left and come back to in phase."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.judge.stories import HELD_ON, LOOK_ALIKE, Verdict
from assembler.aligner.records.limits import CHANCE_SAMPLES
from assembler.aligner.records.ranges import common
from assembler.aligner.sound.limits import LEAST_RUN
from assembler.aligner.sound.surroundings import differing
from assembler.aligner.sound.two_levels.waves import are_edges_moved, lapse_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.judge.stories import Judged
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.surroundings import Surroundings
    from assembler.arrays import Int32s


def heard_through(
    versions: Sequence[Int32s], built: Sequence[Sequence[Structure]], judged: Sequence[Judged], one: Judged
) -> Judged:
    """Return what is said of a part in which all versions hold the same: a level or line goes on through it.

    One that is, or may be, flawed beside the part and holds on is no witness to another that falls into a level of its
    own there.
    """
    part = one.start, one.end
    if differing(versions, part).any() or all(one.verdict.kinds):
        return one
    proved = [_spoiled(version, levels, judged, part) for version, levels in enumerate(built)]
    if all(proved):
        return replace(one, verdict=Verdict(0, tuple(proved), decided=True, because=HELD_ON))
    low, high = part[0] - CHANCE_SAMPLES, part[1] + CHANCE_SAMPLES
    falls = [
        any(low <= one.start and one.end <= high for one in _levels_over(levels, part)) for levels in built
    ]
    kinds = [
        kind or _spoiled(version, levels, judged, part, also_doubted=True)
        for version, (kind, levels) in enumerate(zip(proved, built, strict=True))
    ]
    # Of one that holds no level there, or the only one that goes on, nothing says that it is flawed.
    if not any(kinds) or not all(kind or fallen for kind, fallen in zip(kinds, falls, strict=True)):
        return one
    right = proved.index("")
    kinds[right] = ""
    verdict = Verdict(right, tuple(kinds), decided=False, is_doubtful=True, because=HELD_ON)
    return replace(one, verdict=verdict)


def _spoiled(
    version: int,
    built: Sequence[Structure],
    judged: Sequence[Judged],
    part: Range,
    *,
    also_doubted: bool = False,
) -> str:
    """Return the kind of a version's level or line over a part for which it is wrong beside it; "" if there is none.

    With ``also_doubted`` it will do that the version may be wrong beside it.
    """
    return next(
        (
            level.kind
            for level in _levels_over(built, part)
            for other in judged
            if (other.verdict.kinds[version] if other.verdict.decided else also_doubted)
            and min(level.end, other.end) - max(level.start, other.start) >= LEAST_RUN
        ),
        "",
    )


def _levels_over(built: Sequence[Structure], part: Range) -> list[Structure]:
    return [one for one in built if one.kind in ("mute", "hold", "straight") and one.spans(part)]


def left_open(
    versions: Sequence[Int32s], verdict: Verdict, part: Range, place: Range, around: Surroundings
) -> Verdict:
    """Return a verdict on sound that holds levels, left open where the version taken may be no better than others.

    So it is where that leaves a wave and comes back to it in phase, and where no more is moved than edges, a little.
    """
    taken = versions[verdict.right]
    beside = slice(part[0] - 1, part[1] + 1)
    are_moved = any(
        are_edges_moved(taken[beside], other[beside])
        for other in versions
        if not np.array_equal(other[slice(*part)], taken[slice(*part)])
    )
    lapse = lapse_of(taken, place, around.is_agreed)
    is_left = lapse is not None and bool(common([lapse], [part]))
    if not verdict.decided or not (are_moved or is_left):
        return replace(verdict, is_doubtful=True) if are_moved or is_left else verdict
    return replace(verdict, decided=False, is_doubtful=True, because=LOOK_ALIKE)
