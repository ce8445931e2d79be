"""Which of several captures is right where they differ, part by part.

Two captures that agree bit for bit settle it. Where all differ, every story of the place is weighed: the tape's sound
is one version's in this part and another's in that, or nobody's (see `stories`); the cheapest one is the likeliest.
Where another story that takes a different version costs nearly as little, the part is undecided and told; nothing is
guessed silently.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.structures.builds import FORETOLD_COPY
from assembler.aligner.flaws.structures.structures import cuts_of, structures_of
from assembler.aligner.judge.borders import borders_of
from assembler.aligner.judge.costs import sound_cost
from assembler.aligner.judge.doubt import heard_through, left_open
from assembler.aligner.judge.limits import LEAST_SURPRISE
from assembler.aligner.judge.stories import Judged, Scene, verdicts_on
from assembler.aligner.records.limits import BRIDGE_SAMPLES
from assembler.aligner.records.ranges import common
from assembler.aligner.sound.surroundings import differing, errors_of, look_around, zones_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.surroundings import Surroundings
    from assembler.arrays import Int32s


def judge_place(
    versions: Sequence[Int32s],
    place: Range,
    step: int,
    *,
    witnesses: Sequence[Int32s] = (),
    open_ends: tuple[bool, bool] = (False, False),
    holders: Sequence[int] = (),
    flawed_before: Sequence[bool] = (),
    flawed_behind: Sequence[bool] = (),
) -> list[Judged]:
    """Return a verdict for each part of a place; those in which versions agree only where they are all flawed.

    Args:
        versions: one array per capture in the order of trust, all of one length, with the same context
            around the place.
        place: where they differ.
        step: one step of the tape's word length.
        witnesses: other captures of the same samples; heard on the surroundings only.
        open_ends: whether the place begins, ends, where a capture does.
        holders: how many captures hold each version; one where nothing is said.
        flawed_before: whether each version has been found flawed right before the place already.
        flawed_behind: the same behind it.
    """
    known = list(flawed_before) or [False] * len(versions)
    behind = list(flawed_behind) or [False] * len(versions)
    # What is known to be flawed beside the place is no sound to go by.
    order = sorted(range(len(versions)), key=lambda index: known[index] or behind[index])
    around = look_around([*(versions[index] for index in order), *witnesses], place, step)
    known = [
        is_known or _is_flawed_before(samples, place, [samples, *witnesses], around.agreed)
        for samples, is_known in zip(versions, known, strict=True)
    ]
    zones = zones_of(versions, place, around)
    built = [
        structures_of(
            samples,
            around.agreed,
            [other for other in versions if other is not samples],
            place,
            step,
            (open_ends[0] or is_known, open_ends[1] or goes_on),
            holds_levels=around.holds_levels,
            longest_zero=around.longest_zero,
            # Pieces of sound that holds levels often stand twice, and prove nothing.
            seeks_copies=not all(own.is_stepped for _, own in zones),
            witnesses=[one for one in witnesses if not any(np.array_equal(one, other) for other in versions)],
        )
        for samples, is_known, goes_on in zip(versions, known, behind, strict=True)
    ]
    judged: list[Judged] = []
    for zone, own in zones:
        ends = zone[0] != place[0] or open_ends[0], zone[1] != place[1] or open_ends[1]
        structures = [
            [kept for one in found for kept in _telling(one, samples, zone, own)]
            for samples, found in zip(versions, built, strict=True)
        ]
        beside = known, behind if zone[1] == place[1] else [False] * len(versions)
        found = _judge_zone(versions, structures, zone, own, ends, holders or [1] * len(versions), beside)
        judged += found
        if _is_said(versions, found[-1]):
            known = [bool(kind) and found[-1].verdict.decided for kind in found[-1].verdict.kinds]
    judged = [heard_through(versions, built, judged, one) for one in judged]
    return [one for one in judged if _is_said(versions, one)]


def _is_said(versions: Sequence[Int32s], one: Judged) -> bool:
    """Return whether versions differ in a part, or some are flawed there although they do not."""
    return any(one.verdict.kinds) or bool(differing(versions, (one.start, one.end)).any())


def _judge_zone(
    versions: Sequence[Int32s],
    structures: list[list[Structure]],
    place: Range,
    around: Surroundings,
    open_ends: tuple[bool, bool],
    holders: Sequence[int],
    flawed_beside: tuple[Sequence[bool], Sequence[bool]],
) -> list[Judged]:
    """Return a verdict for each part of a place in which sound looks alike; arguments as for ``judge_place``."""
    differs = differing(versions, place)
    borders = borders_of(versions, structures, differs, place, around)
    parts = cuts_of(structures, borders, place)
    before, behind = (np.array(flawed) for flawed in flawed_beside)
    scene = Scene(versions, structures, around, parts, open_ends, np.array(holders), before, behind)
    return [
        Judged(*part, left_open(versions, verdict, part, place, around) if around.is_stepped else verdict)
        for part, verdict in zip(parts, verdicts_on(scene), strict=True)
    ]


def _telling(one: Structure, samples: Int32s, place: Range, around: Surroundings) -> list[Structure]:
    """Return a structure of a version; a copy of what is foretold anyway, as a slow tone repeats itself, as such."""
    if one.kind != "repeat" or one.is_adjoined or not common([place], [(one.start, one.end)]):
        return [one]
    if around.is_stepped:
        return []
    part = one.start, one.end
    if around.pulse is not None:
        part = max(one.start, place[0]), min(one.end, place[1])
    is_foretold = sound_cost(samples, errors_of(samples, around), part, around) < LEAST_SURPRISE
    return [replace(one, kind=FORETOLD_COPY) if is_foretold else one]


def _is_flawed_before(version: Int32s, place: Range, captures: Sequence[Int32s], agreed: Int32s) -> bool:
    """Return whether a capture that holds a version stands alone before the place already: its flaw goes on."""
    before = slice(max(0, place[0] - BRIDGE_SAMPLES), place[0])
    # Of two captures alone nothing tells which one it is.
    return len(captures) > 1 and any(
        np.array_equal(one[slice(*place)], version[slice(*place)])
        and not np.array_equal(one[before], agreed[before])
        for one in captures
    )
