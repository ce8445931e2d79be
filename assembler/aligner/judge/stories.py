"""All stories of a place in which captures differ, and which of them is the likeliest.

In each part of the place one version is the tape's sound, or none is; each of the others shows a flaw there, which
began and ended somewhere. What a whole story costs is the sum of what its parts cost (see `evidence`) and of what it
costs that flaws begin, end and meet; the cheapest one is a shortest path, with what every other story costs at least.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.structures.builds import FORETOLD_COPY, PEAKS, STROKE
from assembler.aligner.judge.costs import added_cost, border_cost, flaw_cost, sound_cost
from assembler.aligner.judge.limits import (
    ABRUPT_COST,
    AGREEING_COST,
    CLIPPED_COST,
    COPY_COST,
    DISPLACED_COST,
    EDGE_COST,
    FLAW_COST,
    LEAST_MARGIN,
    LEAST_SCALE,
    LONG_LEVEL_COST,
    LONGEST_BLIP,
    MARGIN_PER_SAMPLE,
    MIXED_CAUTION,
    MOST_DISPLACED,
    MOST_SILENT,
    NOBODY_MARGIN,
    NOISE_MARGIN,
    NOISE_NATS,
    NOISE_SHARE,
    ODD_RATIO,
    OWN_PAST_COST,
    SILENT_PER_SAMPLE,
    STEPPED_AGREEING,
    STEPPED_CAUTION,
    STEPPED_MARGIN,
    STRANGE_STROKE_COST,
    STROKE_COST,
    TORN_COST,
)
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.limits import CHANCE_SAMPLES, CLICK_SAMPLES
from assembler.aligner.sound.limits import LEAST_RUN, PREDICTOR_ORDER
from assembler.aligner.sound.surroundings import errors_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.flaws.structures.builds import Structure
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.surroundings import Surroundings
    from assembler.arrays import Bools, Float64s, Int32s

HELD_ON, LOOK_ALIKE = Because(Rule.HELD_ON), Because(Rule.LOOK_ALIKE)


@dataclass(frozen=True)
class Verdict:
    """Which version is right.

    Args:
        right: index of the version to take.
        kinds: for each version its flaw; "" for the right one, unless it is only the least bad.
        decided: False where nothing tells the versions apart and the order of trust had to do.
        is_doubtful: whether it may well be that no version is right.
        because: the rule that decided or left it open; of the likeliest story its lead over the next one.
    """

    right: int
    kinds: tuple[str, ...]
    decided: bool
    is_doubtful: bool = False
    because: Because = field(compare=False, kw_only=True)


class Stories:
    """All stories of a place: in each part one version is the tape's, or none is; what each costs."""

    def __init__(
        self,
        versions: Sequence[Int32s],
        structures: Sequence[Sequence[Structure]],
        around: Surroundings,
        parts: Sequence[Range],
        open_ends: tuple[bool, bool],
        holders: Sequence[int],
        flawed_beside: tuple[Sequence[bool], Sequence[bool]],
    ) -> None:
        self._versions = versions
        self._around = around
        self._structures = structures
        self._caution = STEPPED_CAUTION if around.is_stepped else 1.0
        self._parts = parts
        self._open_ends = open_ends
        self._holders = np.array(holders)
        self._flawed_before, self._flawed_behind = (np.array(flawed) for flawed in flawed_beside)
        self._errors = [errors_of(samples, around) for samples in versions]
        self._sounds = [[self._sound(version, part) for version in range(len(versions))] for part in parts]
        self._flaws = [
            [self._flawed(number, truth, structures) for truth in (*versions, None)]
            for number in range(len(parts))
        ]
        self._same = [
            np.array([[np.array_equal(a[slice(*part)], b[slice(*part)]) for b in versions] for a in versions])
            for part in parts
        ]

    @property
    def _nobody(self) -> int:
        """The state in which no version is the tape's; the others are the versions' indices."""
        return len(self._versions)

    def verdicts(self) -> list[Verdict]:
        """Return what the cheapest stories say of each part."""
        totals = self._totals()
        told = {
            int(np.argmin(total)) for total, same in zip(totals, self._same, strict=True) if not same.all()
        }
        return [self._verdict(number, total, is_mixed=len(told) > 1) for number, total in enumerate(totals)]

    def _sound(self, version: int, part: Range) -> float:
        """Return the cost of a version as sound in a part, but for what the part before foretells."""
        later = min(part[0] + PREDICTOR_ORDER, part[1]), part[1]
        cost = sound_cost(self._versions[version], self._errors[version], later, self._around)
        if self._at_peak(version, part):
            cost = min(cost, CLIPPED_COST)
        stroke = self._stroke(version, part[0], part[1])
        if stroke is not None:
            # Numbers that were heard before are told by where they stand.
            return min(cost, STROKE_COST if self._begins(stroke, part) else 0.0)
        is_long = self._around.is_stepped and any(
            one.start <= part[0] and part[1] <= one.end and (one.kind == "hold" or self._fills_place(one))
            for one in self._structures[version]
        )
        return cost + LONG_LEVEL_COST * is_long

    def _stroke(self, version: int, start: int, end: int) -> Structure | None:
        """Return the stroke that a range of a version belongs to; None if it belongs to none."""
        found = (one for one in self._structures[version] if one.kind == STROKE)
        return next((one for one in found if one.start <= start and end <= one.end), None)

    def _begins(self, one: Structure, part: Range) -> bool:
        """Return whether nothing has been told yet of a structure before a part that belongs to it."""
        return part[0] == self._parts[0][0] or one.start >= part[0]

    def _border(self, past: Int32s | None, version: int, start: int, end: int) -> float:
        """Return what it costs that a version goes on behind a border; see ``border_cost``."""
        if self._stroke(version, start, min(start + PREDICTOR_ORDER, end)):
            return 0.0
        return border_cost(past, self._versions[version], start, end, self._around)

    def _fills_place(self, one: Structure) -> bool:
        """Return whether a silence begins and ends where captures differ: rests hardly do."""
        reach = CHANCE_SAMPLES + self._around.longest_zero
        first, last = self._parts[0][0] - reach, self._parts[-1][1] + reach
        return one.kind == "mute" and first <= one.start and one.end <= last

    def _flawed(
        self, number: int, truth: Int32s | None, structures: Sequence[Sequence[Structure]]
    ) -> list[tuple[float, str]]:
        """Return what each version costs as a flaw in a part, and its kind, one version being the tape's."""
        start, end = part = self._parts[number]
        is_first = number == 0
        # Several captures do not hold a level at the same clipped peak.
        telling = [
            [one for one in built if holders == 1 or one.kind not in PEAKS]
            for built, holders in zip(structures, self._holders, strict=True)
        ]
        flaws = [
            flaw_cost(samples, part, built, truth, self._around, is_first=is_first)
            for samples, built in zip(self._versions, telling, strict=True)
        ]
        if truth is not None and (not self._around.holds_levels or self._around.pulse is not None):
            flaws = [
                min(flaw, (self._added(version, truth, part), "burst")) for version, flaw in enumerate(flaws)
            ]
        for version, built in enumerate(structures):
            copies = [
                one for one in built if one.kind == FORETOLD_COPY and one.start <= start and end <= one.end
            ]
            for copy in copies:
                told = COPY_COST if self._begins(copy, part) else 0.0
                flaws[version] = min(flaws[version], (self._sounds[number][version] + told, "repeat"))
            stroke = self._stroke(version, start, end)
            if stroke is not None:
                told = STRANGE_STROKE_COST if self._begins(stroke, part) else 0.0
                flaws[version] = min(flaws[version], (self._sounds[number][version] + told, "repeat"))
        if self._around.pulse is not None:
            edges = [self._edges_cost(version, part) for version in range(self._nobody)]
            return [min(flaw, (cost, "disagreement")) for flaw, cost in zip(flaws, edges, strict=True)]
        if not self._around.is_stepped:
            return flaws
        # Blocks of synthetic sound played twice are not always known as such: they may be in the wrong place.
        displaced = [sound + DISPLACED_COST for sound in self._sounds[number]]
        return [min(flaw, (cost, "disagreement")) for flaw, cost in zip(flaws, displaced, strict=True)]

    def _edges_cost(self, version: int, part: Range) -> float:
        """Return what it costs to tell where each edge of a wave of these two levels stands; infinite if it is none."""
        pulse, samples = self._around.pulse, self._versions[version][slice(*part)]
        if pulse is None or not np.isin(samples, pulse.levels).all():
            return np.inf
        return COPY_COST + EDGE_COST * np.count_nonzero(np.diff(samples))

    def _added(self, version: int, truth: Int32s, part: Range) -> float:
        """Return what it costs that a version is the tape's sound with something added to it; infinite if it is not.

        What holds a level, draws a line or plays a block again has replaced the sound.
        """
        own = next(index for index, samples in enumerate(self._versions) if samples is truth)
        is_built = self._is_built(version, part) or self._is_built(own, part)
        # A wave of two levels holds them, and plays its periods again, by nature.
        if is_built and self._around.pulse is None:
            return np.inf
        return added_cost(self._versions[version][slice(*part)] - truth[slice(*part)], self._around.step)

    def _is_built(self, version: int, part: Range) -> bool:
        return any(one.start < part[1] and part[0] < one.end for one in self._structures[version])

    def _local(self, number: int) -> Float64s:
        """Return what each state costs in a part: the tape's version as sound, all that differ from it as flaws."""
        costs = []
        for truth, sound in enumerate([*self._sounds[number], 0.0]):
            flaws = self._holders * np.array([cost for cost, _ in self._flaws[number][truth]])
            flawed = np.ones(self._nobody, np.bool_) if truth == self._nobody else ~self._same[number][truth]
            costs.append(sound + float(flaws[flawed].sum()))
        return np.array(costs)

    def _falling(self) -> Float64s:
        """Return what it costs each version to be flawed from here on; that several captures are alike, more."""
        agreeing = STEPPED_AGREEING if self._around.is_stepped else AGREEING_COST
        cost = self._caution * FLAW_COST * self._holders + agreeing * (self._holders - 1)
        return np.asarray(cost, np.float64)

    def _entering(self, number: int) -> Float64s:
        """Return what it costs to go into a part, shape (states before, states in it); first part: one row."""
        start, end = self._parts[number]
        states = self._nobody + 1
        if number == 0:
            falling = np.where(
                self._flawed_before, self._caution * FLAW_COST * (self._holders - 1), self._falling()
            )
            row: Float64s = np.asarray(falling.sum() - np.append(falling, 0.0), np.float64)
            past = None if self._open_ends[0] else self._around.agreed
            row[: self._nobody] += self._turning(self._flawed_before, start)
            for version in range(self._nobody):
                row[version] += self._border(past, version, start, end)
            return row[None, :]
        table = np.zeros((states, states))
        falling = self._falling()
        is_seam = bool(self._same[number - 1].all() or self._same[number].all())
        inside = [any(one.is_torn(start) for one in built) for built in self._structures]
        for before in range(states):
            for behind in range(states):
                if before not in (behind, self._nobody):
                    table[before, behind] += float(falling[before])
                if before != behind and self._nobody not in (before, behind) and not is_seam:
                    table[before, behind] += ABRUPT_COST
                # A level, a line or a copy is one event: it is not the tape's in part.
                torn = {before, behind} - {self._nobody} if before != behind else set()
                table[before, behind] += TORN_COST * sum(inside[version] for version in torn)
                table[before, behind] -= DISPLACED_COST * self._displaced_on(number, before, behind)
                if behind == self._nobody:
                    continue
                if before == self._nobody:
                    table[before, behind] += self._recovering(behind, start, end)
                else:
                    table[before, behind] += self._border(self._versions[before], behind, start, end)
        return table

    def _displaced_on(self, number: int, before: int, behind: int) -> int:
        """Return how many captures are displaced from the part before on: that is told once.

        Args:
            number: of the part.
            before: which version is the tape's in the part before.
            behind: in this one.
        """
        if not self._around.is_stepped:
            return 0
        return sum(
            int(holders)
            for version, holders in enumerate(self._holders)
            if self._is_displaced(number - 1, before, version) and self._is_displaced(number, behind, version)
        )

    def _is_displaced(self, number: int, truth: int, version: int) -> bool:
        is_right = truth != self._nobody and self._same[number][truth, version]
        start, end = self._parts[number]
        is_noise = self._sounds[number][version] > MOST_DISPLACED * (end - start)
        return not is_right and not is_noise and self._flaws[number][truth][version][1] == "disagreement"

    def _recovering(self, version: int, start: int, end: int) -> float:
        """Return what it costs that a version is right behind a part in which none was.

        Its own samples foretell it too, as a line drawn from sound to sound does.
        """
        own = self._border(self._versions[version], version, start, end)
        return min(self._border(None, version, start, end), own + OWN_PAST_COST)

    def _leaving(self) -> Float64s:
        """Return what the samples behind the place, on which captures agree, cost after each state."""
        end, agreed = self._parts[-1][1], self._around.agreed
        costs = [border_cost(one, agreed, end, agreed.size, self._around) for one in (*self._versions, None)]
        leaving = np.array([0.0] * len(costs) if self._open_ends[1] else costs)
        leaving[: self._nobody] += self._turning(self._flawed_behind, end)
        return leaving

    def _turning(self, flawed_beside: Bools, at: int) -> Float64s:
        """Return what it costs each version to be right up to a place, or from it on, that is flawed beyond it."""
        if flawed_beside.all():
            return np.zeros(self._nobody)
        torn = [any(one.is_torn(at) for one in built) for built in self._structures]
        # Its flaw would end just where another's begins; a level or a copy that reaches over is one event.
        return np.asarray(flawed_beside * np.where(torn, TORN_COST, ABRUPT_COST), np.float64)

    def _totals(self) -> list[Float64s]:
        """Return for each part and state what the cheapest story costs that has the part in that state."""
        local = [self._local(number) for number in range(len(self._parts))]
        entering = [self._entering(number) for number in range(len(self._parts))]
        forward = [entering[0][0] + local[0]]
        for number in range(1, len(self._parts)):
            forward.append((forward[-1][:, None] + entering[number]).min(axis=0) + local[number])
        backward = [self._leaving()]
        for number in range(len(self._parts) - 1, 0, -1):
            backward.append((entering[number] + local[number] + backward[-1]).min(axis=1))
        return [ahead + behind for ahead, behind in zip(forward, reversed(backward), strict=True)]

    def _verdict(self, number: int, totals: Float64s, *, is_mixed: bool) -> Verdict:
        """Return what is said of a part.

        Args:
            number: of the part.
            totals: shape (states,), in nats.
            is_mixed: whether now one version seems right in the place, now another or none: flaws lie over each other
                there, and whichever version is the less bad is not right for that.
        """
        start, end = self._parts[number]
        same = self._same[number]
        margin = (
            STEPPED_MARGIN if self._around.is_stepped else LEAST_MARGIN + MARGIN_PER_SAMPLE * (end - start)
        )
        nobody = totals[self._nobody]
        best = int(np.argmin(totals[: self._nobody]))
        # That all are wrong is said only where it is plain; where it is likely, the place is told.
        # Where all hold the same, as zeros inside a mute of one of them, they bear each other no witness.
        if nobody + (1 if same.all() else 2) * margin < totals[best]:
            return Verdict(
                0,
                tuple(self._kind(number, v, self._nobody) for v in range(self._nobody)),
                decided=True,
                because=_story(totals[best] - nobody),
            )
        if is_mixed and self._holders.max() == 1:
            margin *= MIXED_CAUTION
        if not self._around.is_stepped and not self._versions[best][start:end].any():
            margin += min(SILENT_PER_SAMPLE * (end - start), MOST_SILENT)
        near = [
            v
            for v in range(self._nobody)
            if totals[v] < totals[best] + margin
            or self._is_pulse_in_silence(number, v, best)
            or self._is_blip_in_silence(best)
        ]
        lead = 0.0 if is_mixed and self._holders.max() == 1 else -LEAST_MARGIN
        if self._is_made(best, (start, end)):
            # Of two flaws the one that is simpler to tell is no more right for that.
            lead = LEAST_MARGIN
        if self._around.is_stepped:
            lead = NOBODY_MARGIN
        if self._is_noise(number, best):
            lead = NOISE_MARGIN
        is_unlikely = bool(totals[best] + lead > nobody)
        decided = bool(same[best, near].all()) and not is_unlikely
        rival = float(totals[: self._nobody][~same[best]].min(initial=np.inf))
        because = _story((nobody if same[best].all() else rival) - totals[best])
        if not decided:
            is_close = is_unlikely or rival < totals[best] + margin
            because = _story(abs(min(rival, nobody) - totals[best])) if is_close else LOOK_ALIKE
            # Noise is hardly ever what was recorded.
            best = next((v for v in near if not self._is_noise(number, v)), near[0])
        kinds = ["" if same[best, v] else self._kind(number, v, best) for v in range(self._nobody)]
        return Verdict(best, tuple(kinds), decided, is_unlikely, because=because)

    def _is_made(self, version: int, part: Range) -> bool:
        """Return whether a version is wholly of a machine's build in a part, other than silence and peaks."""
        return any(
            one.kind in ("hold", "straight", "repeat") and one.start <= part[0] and part[1] <= one.end
            for one in self._structures[version]
        )

    def _is_pulse_in_silence(self, number: int, version: int, best: int) -> bool:
        """Return whether a version shows one level where the best one is silent: a click track's pulse, or none."""
        start, end = self._parts[number]
        silent = self._versions[best]
        if end - start <= CHANCE_SAMPLES or silent[start:end].any():
            return False
        return any(
            one.is_level and one.start <= start and end <= one.end and not any(silent[list(one.anchors)])
            for one in self._structures[version]
        )

    def _is_blip_in_silence(self, version: int) -> bool:
        """Return whether a version sounds for an instant in the midst of silence: too little to be foretold by any."""
        start, end = self._parts[0][0], self._parts[-1][1]
        if end - start > LONGEST_BLIP:
            return False
        before, blip, behind = (
            bool(self._versions[version][low:high].any())
            for low, high in ((start - LEAST_RUN, start), (start, end), (end, end + LEAST_RUN))
        )
        return blip and not before and not behind

    def _at_peak(self, version: int, part: Range) -> bool:
        start, end = part
        return any(
            one.kind in PEAKS and one.start <= start and end <= one.end for one in self._structures[version]
        )

    def _is_noise(self, number: int, version: int) -> bool:
        """Return whether a version is as likely noise as sound in a part, and far louder than what is foretold."""
        start, end = self._parts[number]
        noise, kind = self._flaws[number][self._nobody][version]
        usual = float(np.log(max(self._around.scales[1], LEAST_SCALE)) + NOISE_NATS) * (end - start)
        return kind == "burst" and self._sounds[number][version] > max(NOISE_SHARE * noise, usual)

    def _kind(self, number: int, version: int, truth: int) -> str:
        """Return what a version shows in a part if it is flawed there."""
        start, end = self._parts[number]
        kind = self._flaws[number][truth][version][1]
        if kind != "burst":
            return kind
        power = float(np.mean(self._errors[version][0, start:end] ** 2))
        if power < ODD_RATIO * self._around.scales[1] ** 2:
            return "disagreement"
        return "click" if end - start <= CLICK_SAMPLES else "burst"


def _story(nats: float) -> Because:
    return Because(Rule.STORY, float(nats) if np.isfinite(nats) else None)
