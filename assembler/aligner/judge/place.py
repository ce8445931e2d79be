"""Which of several captures is right where they differ, part by part.

Two captures that agree bit for bit settle it. Where all differ, every story of the place is weighed: the tape's sound
is one version's in this part and another's in that, or nobody's (see `stories`); the cheapest one is the likeliest.
Where another story that takes a different version costs nearly as little, the part is undecided and told; nothing is
guessed silently.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.structures.builds import FORETOLD_COPY
from assembler.aligner.flaws.structures.structures import (
    cuts_of,
    level_borders,
    rough_borders,
    structures_of,
)
from assembler.aligner.judge.costs import sound_cost
from assembler.aligner.judge.limits import LEAST_SURPRISE
from assembler.aligner.judge.stories import HELD_ON, LOOK_ALIKE, Scene, Verdict, verdicts_on
from assembler.aligner.records.limits import BRIDGE_SAMPLES, CHANCE_SAMPLES, FAR_MORE, LEAST_TELLING
from assembler.aligner.records.ranges import common, merged, ranges_of, without
from assembler.aligner.sound.limits import LEAST_RUN, PREDICTOR_ORDER
from assembler.aligner.sound.surroundings import differing, errors_of, look_around, zones_of
from assembler.aligner.sound.two_levels.waves import are_edges_moved, lapse_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.surroundings import Surroundings
    from assembler.arrays import Bools, Int32s


@dataclass(frozen=True)
class Judged:
    """A part of a place, and what is said of it."""

    start: int
    end: int
    verdict: Verdict


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
    judged = [_heard_through(versions, built, judged, one) for one in judged]
    return [one for one in judged if _is_said(versions, one)]


def _is_said(versions: Sequence[Int32s], one: Judged) -> bool:
    """Return whether versions differ in a part, or some are flawed there although they do not."""
    return any(one.verdict.kinds) or bool(differing(versions, (one.start, one.end)).any())


def _heard_through(
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
    borders = _borders(versions, structures, differs, place, around)
    parts = cuts_of(structures, borders, place)
    before, behind = (np.array(flawed) for flawed in flawed_beside)
    scene = Scene(versions, structures, around, parts, open_ends, np.array(holders), before, behind)
    return [
        Judged(*part, _doubted(versions, verdict, part, place, around) if around.is_stepped else verdict)
        for part, verdict in zip(parts, verdicts_on(scene), strict=True)
    ]


def _doubted(
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


def _borders(
    versions: Sequence[Int32s],
    structures: Sequence[Sequence[Structure]],
    differs: Bools,
    place: Range,
    around: Surroundings,
) -> list[int]:
    """Return where noise sets in or stops, and where versions begin and cease to agree for a while."""
    if around.is_stepped:
        # Where levels are held by nature versions agree in every other half period, which is no border.
        return []
    if around.pulse is not None:
        return [
            edge
            for samples in versions
            for found in ranges_of(
                around.pulse.errors(samples[slice(*place)], place[0]) != 0,
                offset=place[0],
                bridge=BRIDGE_SAMPLES,
            )
            for edge in _with_differing(found, differs, place[0])
            if place[0] < edge < place[1]
        ]
    usual = FAR_MORE * around.scales[1] * around.step
    # One that was fitted to silence finds every sound rough.
    linear = [model for model in around.models if model.predictor.size == PREDICTOR_ORDER]
    predictor = max(linear, key=lambda model: float(model.scales.max())).predictor
    borders = [edge for samples in versions for edge in rough_borders(samples, place, predictor, usual)]
    for samples, built in zip(versions, structures, strict=True):
        for start, end in without([place], merged((one.start, one.end) for one in built)):
            borders += level_borders(samples, (start, end), predictor)
    for bridge in (CHANCE_SAMPLES, BRIDGE_SAMPLES):
        ranges = ranges_of(differs, offset=place[0], bridge=bridge)
        if len(ranges) <= LEAST_TELLING:
            break
    return borders + [edge for found in ranges for edge in found if place[0] < edge < place[1]]


def _with_differing(found: Range, differs: Bools, offset: int) -> Range:
    """Return a range with the few samples beside it that differ: those a flaw begins with may fit by chance.

    Where more differ, another flaw goes on beside it.
    """
    agrees = np.flatnonzero(~differs) + offset
    first, behind = np.searchsorted(agrees, found[0]), np.searchsorted(agrees, found[1])
    low = int(agrees[first - 1]) + 1 if first else offset
    high = int(agrees[behind]) if behind < agrees.size else offset + differs.size
    return (
        low if found[0] - low <= CHANCE_SAMPLES else found[0],
        high if high - found[1] <= CHANCE_SAMPLES else found[1],
    )
