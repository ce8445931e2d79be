"""What stories are told of: the versions of a place, what each is built of and what lies around; and what each costs.

Costs are in nats, of each part of a place: a version as the tape's sound, and as a flaw where another is the tape's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import ABRUPT_RATIO
from assembler.aligner.flaws.structures.builds import FORETOLD_COPY, PEAKS, STROKE
from assembler.aligner.judge.costs import added_cost, flaw_cost, sound_cost
from assembler.aligner.judge.limits import (
    CHANCE_COST,
    DETAIL_COST,
    DISPLACED_COST,
    NOISE_NATS,
    STEPPED_CAUTION,
    WHERE_COST,
)
from assembler.aligner.records.limits import CHANCE_SAMPLES, INSTANT_SAMPLES, NEARLY_ALL
from assembler.aligner.sound.limits import DITHER_STEPS, PREDICTOR_ORDER
from assembler.aligner.sound.surroundings import errors_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.surroundings import Surroundings
    from assembler.arrays import Bools, Float64s, Int32s, Int64s


@dataclass(frozen=True)
class Scene:
    """A place that stories are told of.

    Args:
        versions: one array per version, all of one length.
        structures: of each version, what a machine may have made.
        around: what sound looks like here.
        parts: of the place, in order.
        open_ends: whether the place begins, ends, where a capture does.
        holders: how many captures hold each version.
        flawed_before: whether each version is known to be flawed right before the place.
        flawed_behind: the same behind it.
    """

    versions: Sequence[Int32s]
    structures: Sequence[Sequence[Structure]]
    around: Surroundings
    parts: Sequence[Range]
    open_ends: tuple[bool, bool]
    holders: Int64s
    flawed_before: Bools
    flawed_behind: Bools

    @property
    def nobody(self) -> int:
        """The state in which no version is the tape's; the others are the versions' indices."""
        return len(self.versions)

    @property
    def caution(self) -> float:
        """How many times as much is asked of all evidence."""
        return STEPPED_CAUTION if self.around.is_stepped else 1.0

    @property
    def place(self) -> Range:
        """All parts together."""
        return self.parts[0][0], self.parts[-1][1]

    @cached_property
    def errors(self) -> list[Float64s]:
        """Prediction errors of each version."""
        return [errors_of(samples, self.around) for samples in self.versions]

    @cached_property
    def same(self) -> list[Bools]:
        """For each part, shape (versions, versions): which hold the same."""
        return [
            np.array(
                [
                    [np.array_equal(a[slice(*part)], b[slice(*part)]) for b in self.versions]
                    for a in self.versions
                ]
            )
            for part in self.parts
        ]

    def holding(self, version: int, part: Range, *kinds: str) -> list[Structure]:
        """Return the structures of some kinds that hold a whole part of a version."""
        return [one for one in self.structures[version] if one.kind in kinds and one.spans(part)]

    def stroke(self, version: int, part: Range) -> Structure | None:
        """Return the stroke that a part of a version belongs to; None if it belongs to none."""
        return next(iter(self.holding(version, part, STROKE)), None)

    def is_at_peak(self, version: int, part: Range) -> bool:
        """Return whether a version is clipped in a part, as peaks around are."""
        return bool(self.holding(version, part, *PEAKS))

    def is_built(self, version: int, part: Range) -> bool:
        """Return whether a structure of a version reaches into a part."""
        return any(one.start < part[1] and part[0] < one.end for one in self.structures[version])

    def begins(self, one: Structure, part: Range) -> bool:
        """Return whether nothing has been told yet of a structure before a part that belongs to it."""
        return part[0] == self.place[0] or one.start >= part[0]

    def are_torn(self, at: int) -> Bools:
        """Return of which versions a border tears what is one event, shape (versions,)."""
        return np.array([any(one.is_torn(at) for one in built) for built in self.structures])


class Parts:
    """What versions cost in the parts of a place."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        versions, states = range(scene.nobody), range(scene.nobody + 1)
        self._sounds = [[_sound_cost(scene, version, part) for version in versions] for part in scene.parts]
        self._flaws = [
            [[min(self._as_flaw(number, version, truth)) for version in versions] for truth in states]
            for number in range(len(scene.parts))
        ]

    def costs(self, number: int) -> Float64s:
        """Return what each state costs in a part: the tape's version as sound, all that differ from it as flaws."""
        scene, costs = self._scene, []
        for truth, sound in enumerate([*self._sounds[number], 0.0]):
            flaws = scene.holders * np.array([cost for cost, _ in self._flaws[number][truth]])
            is_nobody = truth == scene.nobody
            flawed = np.ones(scene.nobody, np.bool_) if is_nobody else ~scene.same[number][truth]
            costs.append(sound + float(flaws[flawed].sum()))
        return np.array(costs)

    def kind(self, number: int, version: int, truth: int) -> str:
        """Return what a version shows in a part if it is flawed there."""
        start, end = self._scene.parts[number]
        kind = self._flaws[number][truth][version][1]
        if kind != "burst":
            return kind
        power = float(np.mean(self._scene.errors[version][0, start:end] ** 2))
        if power < ABRUPT_RATIO * self._scene.around.scales[1] ** 2:
            return "disagreement"
        return "click" if end - start <= INSTANT_SAMPLES else "burst"

    def is_noise(self, number: int, version: int) -> bool:
        """Return whether a version is as likely noise as sound in a part, and far louder than what is foretold."""
        start, end = self._scene.parts[number]
        noise, kind = self._flaws[number][self._scene.nobody][version]
        scale = max(self._scene.around.scales[1], DITHER_STEPS)
        usual = float(np.log(scale) + NOISE_NATS) * (end - start)
        return kind == "burst" and self._sounds[number][version] > max(NEARLY_ALL * noise, usual)

    def _as_flaw(self, number: int, version: int, truth: int) -> Iterator[tuple[float, str]]:
        """Yield every way to tell a version as a flaw in a part: what it costs, and its kind."""
        scene, around, part = self._scene, self._scene.around, self._scene.parts[number]
        samples, sound = scene.versions[version], self._sounds[number][version]
        true = scene.versions[truth] if truth != scene.nobody else None
        # Several captures do not hold a level at the same clipped peak.
        is_lone = scene.holders[version] == 1
        telling = [one for one in scene.structures[version] if is_lone or one.kind not in PEAKS]
        yield flaw_cost(samples, part, telling, true, around, is_first=number == 0)
        if true is not None and (not around.holds_levels or around.pulse is not None):
            yield _added_cost(scene, version, truth, part), "burst"
        for copy in scene.holding(version, part, FORETOLD_COPY):
            yield sound + (WHERE_COST if scene.begins(copy, part) else 0.0), "repeat"
        if stroke := scene.stroke(version, part):
            yield sound + (CHANCE_COST if scene.begins(stroke, part) else 0.0), "repeat"
        if around.pulse is not None:
            yield _edges_cost(scene, version, part), "disagreement"
        elif around.is_stepped:
            # Blocks of synthetic sound played twice are not always known as such: they may be in the wrong place.
            yield sound + DISPLACED_COST, "disagreement"


def _sound_cost(scene: Scene, version: int, part: Range) -> float:
    """Return the cost of a version as sound in a part, but for what the part before foretells."""
    later = min(part[0] + PREDICTOR_ORDER, part[1]), part[1]
    cost = sound_cost(scene.versions[version], scene.errors[version], later, scene.around)
    if scene.is_at_peak(version, part):
        cost = min(cost, CHANCE_COST)
    if stroke := scene.stroke(version, part):
        # Numbers that were heard before are told by where they stand.
        return min(cost, WHERE_COST if scene.begins(stroke, part) else 0.0)
    is_long = scene.around.is_stepped and (
        bool(scene.holding(version, part, "hold")) or _rests_just_there(scene, version, part)
    )
    return cost + CHANCE_COST * is_long


def _rests_just_there(scene: Scene, version: int, part: Range) -> bool:
    """Return whether a silence over a part begins and ends where captures differ: rests hardly do."""
    reach = CHANCE_SAMPLES + scene.around.longest_zero
    first, last = scene.place[0] - reach, scene.place[1] + reach
    return any(first <= one.start and one.end <= last for one in scene.holding(version, part, "mute"))


def _added_cost(scene: Scene, version: int, truth: int, part: Range) -> float:
    """Return what it costs that a version is the tape's sound with something added to it; infinite if it is not.

    What holds a level, draws a line or plays a block again has replaced the sound; but a wave of two levels holds them,
    and plays its periods again, by nature.
    """
    is_built = scene.is_built(version, part) or scene.is_built(truth, part)
    if is_built and scene.around.pulse is None:
        return np.inf
    own, true = (scene.versions[index][slice(*part)] for index in (version, truth))
    return added_cost(own - true, scene.around.step)


def _edges_cost(scene: Scene, version: int, part: Range) -> float:
    """Return what it costs to tell where each edge of a wave of these two levels stands; infinite if it is none."""
    pulse, samples = scene.around.pulse, scene.versions[version][slice(*part)]
    if pulse is None or not np.isin(samples, pulse.levels).all():
        return np.inf
    return WHERE_COST + DETAIL_COST * np.count_nonzero(np.diff(samples))
