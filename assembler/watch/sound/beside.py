"""Where new sound of a pass lies beside finished passes of its reel.

Positions are samples of the pass; the place of a pass is its *shift*, timeline sample less pass sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assembler.aligner.place.limits import ANCHOR_SAMPLES, SEARCH_SECONDS
from assembler.aligner.place.relation import relate
from assembler.aligner.records.timemap import Stretch, TimeMap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.place.relation import Relation
    from assembler.aligner.records.passes import TrackReader

MOST_WITNESSES: Final = 2
"""Finished passes that new sound is held against: two and itself can outvote each other."""

LEAST_COMMON: Final = 4 * ANCHOR_SAMPLES
"""Samples that new sound and another pass have in common from which they are held against each other."""

LEAST_FOUND: Final = 0.6
"""Share of the places of new sound that must be found again; else it is looked for further away."""


@dataclass(frozen=True)
class Witness:
    """A finished pass: its audio, and where it lies."""

    name: str
    audio: TrackReader
    time_map: TimeMap


@dataclass(frozen=True)
class Place:
    """Where a pass lies by what is known before new sound is looked at.

    Args:
        shift: timeline sample less pass sample.
        doubt: samples that it may be off by.
        is_heard: whether the sound of another pass has proved it.
    """

    shift: int
    doubt: float
    is_heard: bool


def place_beside(
    audio: TrackReader,
    window: tuple[int, int],
    place: Place | None,
    witnesses: Sequence[Witness],
    sample_rate: int,
) -> tuple[TimeMap, list[Witness], bool]:
    """Return where new sound lies, which finished passes bear witness there, and whether one of them shows the place.

    Args:
        audio: of the pass.
        window: from which sample to which.
        place: of the pass; None where nothing tells it: then the timeline is the pass's own.
        witnesses: finished passes of its reel, most trusted first.
        sample_rate: samples in a second.
    """
    if place is None:
        return TimeMap((Stretch(*window, window[0]),)), [], False
    stretches = [Stretch(*window, window[0] + place.shift)]
    beside: list[Witness] = []
    related = False
    for witness in witnesses:
        found = _relate(audio, window, place, witness, sample_rate)
        if found is not None and not related:
            stretches = _stretches(found, window, witness.time_map, stretches[-1].shift)
            related = True
        if found is not None or place.is_heard:
            beside.append(witness)
    if not (related or place.is_heard):
        beside = []
    return TimeMap(tuple(stretches)), beside[:MOST_WITNESSES], related


def _relate(
    audio: TrackReader, window: tuple[int, int], place: Place, witness: Witness, sample_rate: int
) -> Relation | None:
    """Return how a window lies against another pass, or None where nothing proves a place."""
    held = witness.time_map.covering(window[0] + place.shift, window[1] + place.shift)
    if not held or held[-1].timeline_end - held[0].timeline_start < LEAST_COMMON:
        return None
    overlap = held[0].timeline_start - place.shift, held[-1].timeline_end - place.shift

    def expected(at: int) -> int:
        before = [one for one in held if one.timeline_start <= at + place.shift]
        return place.shift - (before[-1] if before else held[0]).shift

    best: Relation | None = None
    for seconds in SEARCH_SECONDS:
        radius = round(seconds * sample_rate + place.doubt)
        found = relate(witness.audio, audio, expected, overlap, radius)
        if found is not None and (best is None or found.anchors > best.anchors):
            best = found
        if best is not None and best.anchors >= LEAST_FOUND * best.asked:
            break
    return best


def _stretches(relation: Relation, window: tuple[int, int], other: TimeMap, shift: int) -> list[Stretch]:
    """Return where a window lies on the timeline by another pass; a slip that is the other pass's is none of its."""
    found: list[Stretch] = []
    for one in relation.stretches:
        middle = (one.start + one.end) // 2 + one.shift
        held = [s.shift for s in other.stretches if s.pass_start <= middle]
        at = one.shift + (held[-1] if held else other.stretches[0].shift)
        if found and (found[-1].shift == at or one.slipped == "reference"):
            last = found[-1]
            found[-1] = Stretch(last.pass_start, one.end, last.timeline_start)
        else:
            found.append(Stretch(one.start, one.end, one.start + at))
    if not found:
        return [Stretch(*window, window[0] + shift)]
    first = found[0]
    found[0] = Stretch(window[0], first.pass_end, window[0] + first.shift)
    found[-1] = Stretch(found[-1].pass_start, window[1], found[-1].timeline_start)
    return found
