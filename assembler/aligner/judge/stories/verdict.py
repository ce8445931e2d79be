"""What is said of a part by what its stories cost: the version that is right, that none is, or that it is open."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.structures.builds import PEAKS
from assembler.aligner.judge.limits import (
    LEAST_MARGIN,
    MARGIN_PER_SAMPLE,
    MOST_SILENT,
    NOISE_MARGIN,
    SILENT_PER_SAMPLE,
)
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.limits import CHANCE_SAMPLES
from assembler.aligner.sound.limits import LEAST_REST, LEAST_RUN

if TYPE_CHECKING:
    from assembler.aligner.judge.stories.scene import Parts, Scene
    from assembler.arrays import Float64s

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


@dataclass(frozen=True)
class Judged:
    """A part of a place, and what is said of it."""

    start: int
    end: int
    verdict: Verdict


def verdict_on(scene: Scene, parts: Parts, number: int, totals: Float64s, *, is_mixed: bool) -> Verdict:
    """Return what is said of a part.

    Args:
        scene: the place.
        parts: what versions cost in it.
        number: of the part.
        totals: what the cheapest story through each state costs, shape (states,), in nats.
        is_mixed: whether flaws lie over each other in the place: what is less bad is not right for that.
    """
    versions, same = range(scene.nobody), scene.same[number]
    nobody, best = totals[scene.nobody], int(np.argmin(totals[: scene.nobody]))
    margin = _plain_margin(scene, number)
    # That all are wrong is said only where it is plain; where it is likely, the place is told.
    # Where all hold the same, as zeros inside a mute of one of them, they bear each other no witness.
    if nobody + (1 if same.all() else 2) * margin < totals[best]:
        kinds = tuple(parts.kind(number, version, scene.nobody) for version in versions)
        return Verdict(0, kinds, decided=True, because=_story(totals[best] - nobody))
    margin += _margin_of_silence(scene, number, best)
    near = [
        version
        for version in versions
        if totals[version] < totals[best] + margin
        or _is_pulse_in_silence(scene, number, version, best)
        or _is_blip_in_silence(scene, best)
        or _turns_at_peak(scene, best)
    ]
    is_mixed = is_mixed and scene.holders.max() == 1
    is_unlikely = bool(totals[best] + _lead(scene, parts, number, best, is_mixed=is_mixed) > nobody)
    decided = bool(same[best, near].all()) and not is_unlikely
    rival = float(totals[: scene.nobody][~same[best]].min(initial=np.inf))
    because = _story((nobody if same[best].all() else rival) - totals[best])
    if not decided:
        is_close = is_unlikely or rival < totals[best] + margin
        because = _story(abs(min(rival, nobody) - totals[best])) if is_close else LOOK_ALIKE
        # Noise is hardly ever what was recorded.
        best = next((version for version in near if not parts.is_noise(number, version)), near[0])
    kinds = tuple("" if same[best, version] else parts.kind(number, version, best) for version in versions)
    return Verdict(best, kinds, decided, is_unlikely, because=because)


def _story(nats: float) -> Because:
    return Because(Rule.STORY, float(nats) if np.isfinite(nats) else None)


def _plain_margin(scene: Scene, number: int) -> float:
    """Return by how many nats a story must beat every other one."""
    start, end = scene.parts[number]
    per_sample = 0.0 if scene.around.is_stepped else MARGIN_PER_SAMPLE
    return scene.caution * LEAST_MARGIN + per_sample * (end - start)


def _margin_of_silence(scene: Scene, number: int, version: int) -> float:
    """Return by how many nats more a story must beat every other one where it takes a version that is silent."""
    start, end = scene.parts[number]
    if scene.around.is_stepped or scene.versions[version][start:end].any():
        return 0.0
    return min(SILENT_PER_SAMPLE * (end - start), MOST_SILENT)


def _lead(scene: Scene, parts: Parts, number: int, best: int, *, is_mixed: bool) -> float:
    """Return by how many nats a version must beat that none is right."""
    if parts.is_noise(number, best):
        return NOISE_MARGIN
    if scene.around.is_stepped:
        return scene.caution * LEAST_MARGIN
    if scene.holding(best, scene.parts[number], "hold", "straight", "repeat"):
        # Of two flaws the one that is simpler to tell is no more right for that.
        return LEAST_MARGIN
    return 0.0 if is_mixed else -LEAST_MARGIN


def _is_pulse_in_silence(scene: Scene, number: int, version: int, best: int) -> bool:
    """Return whether a version shows one level where the best one is silent: a click track's pulse, or none."""
    start, end = scene.parts[number]
    silent = scene.versions[best]
    if end - start <= CHANCE_SAMPLES or silent[start:end].any():
        return False
    return any(
        one.is_level and one.spans((start, end)) and not any(silent[list(one.anchors)])
        for one in scene.structures[version]
    )


def _turns_at_peak(scene: Scene, version: int) -> bool:
    """Return whether a version differs in a few samples where it reaches a clipped peak, or leaves it.

    Nothing foretells at which sample sound comes to be clipped.
    """
    start, end = scene.place
    if end - start > CHANCE_SAMPLES:
        return False
    # What a level is held from is its own first sample.
    peaks = (one for one in scene.structures[version] if one.kind in PEAKS)
    return any(start <= edge <= end for one in peaks for edge in (one.start - 1, one.end))


def _is_blip_in_silence(scene: Scene, version: int) -> bool:
    """Return whether a version sounds for an instant in the midst of silence: too little to be foretold by any."""
    start, end = scene.place
    if end - start > LEAST_REST:
        return False
    before, blip, behind = (
        bool(scene.versions[version][low:high].any())
        for low, high in ((start - LEAST_RUN, start), (start, end), (end, end + LEAST_RUN))
    )
    return blip and not before and not behind
