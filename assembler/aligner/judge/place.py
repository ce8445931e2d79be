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
    busy_borders,
    cuts_of,
    level_borders,
    rough_borders,
    structures_of,
)
from assembler.aligner.judge.costs import sound_cost
from assembler.aligner.judge.limits import LEAST_SURPRISE, ROUGH_SCALES
from assembler.aligner.judge.stories import Stories, Verdict
from assembler.aligner.records.limits import BRIDGE_SAMPLES, CHANCE_SAMPLES
from assembler.aligner.records.ranges import common, merged, ranges_of, without
from assembler.aligner.sound.limits import MATERIAL_RUNS, PREDICTOR_ORDER
from assembler.aligner.sound.surroundings import errors_of, look_around

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
    built = [
        structures_of(
            samples,
            around.agreed,
            [other for other in versions if other is not samples],
            place,
            step,
            (open_ends[0] or is_known, open_ends[1] or goes_on),
            holds_levels=around.is_stepped,
            # Pieces of sound that holds levels often stand twice, and prove nothing.
            seeks_copies=not around.is_stepped,
            witnesses=[one for one in witnesses if not any(np.array_equal(one, other) for other in versions)],
        )
        for samples, is_known, goes_on in zip(versions, known, behind, strict=True)
    ]
    structures = [
        [kept for one in found for kept in _telling(one, samples, place, around)]
        for samples, found in zip(versions, built, strict=True)
    ]
    differs = _differing(versions, place)
    parts = cuts_of(structures, _borders(versions, structures, differs, place, around), place)
    counts = holders or [1] * len(versions)
    stories = Stories(versions, structures, around, parts, open_ends, counts, (known, behind))
    judged = [Judged(*part, verdict) for part, verdict in zip(parts, stories.verdicts(), strict=True)]
    return [one for one in judged if any(one.verdict.kinds) or _differ(versions, (one.start, one.end))]


def _telling(one: Structure, samples: Int32s, place: Range, around: Surroundings) -> list[Structure]:
    """Return a structure of a version; a copy of what is foretold anyway, as a slow tone repeats itself, as such."""
    if one.kind != "repeat" or one.is_adjoined or not common([place], [(one.start, one.end)]):
        return [one]
    if around.is_stepped:
        return []
    cost = sound_cost(samples, errors_of(samples, around), (one.start, one.end), around)
    return [replace(one, kind=FORETOLD_COPY) if cost < LEAST_SURPRISE else one]


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
        return [edge for samples in versions for edge in busy_borders(samples, place)]
    usual = ROUGH_SCALES * around.scales[1] * around.step
    # One that was fitted to silence finds every sound rough.
    linear = [model for model in around.models if model.predictor.size == PREDICTOR_ORDER]
    predictor = max(linear, key=lambda model: float(model.scales.max())).predictor
    borders = [edge for samples in versions for edge in rough_borders(samples, place, predictor, usual)]
    for samples, built in zip(versions, structures, strict=True):
        for start, end in without([place], merged((one.start, one.end) for one in built)):
            borders += level_borders(samples, (start, end), predictor)
    for bridge in (CHANCE_SAMPLES, BRIDGE_SAMPLES):
        ranges = ranges_of(differs, offset=place[0], bridge=bridge)
        if len(ranges) <= MATERIAL_RUNS:
            break
    return borders + [edge for found in ranges for edge in found if place[0] < edge < place[1]]


def _differ(versions: Sequence[Int32s], place: Range) -> bool:
    return bool(_differing(versions, place).any())


def _differing(versions: Sequence[Int32s], place: Range) -> Bools:
    differs = np.zeros(place[1] - place[0], np.bool_)
    for samples in versions[1:]:
        differs |= samples[slice(*place)] != versions[0][slice(*place)]
    return differs
