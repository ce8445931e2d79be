"""What each pass has at a place that none is known to have right: for a person who has to choose.

Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.findings import QUIET_KINDS
from assembler.aligner.records.limits import READ_SAMPLES
from assembler.aligner.records.ranges import common, merged, pieces_of, total
from assembler.aligner.sound.scale import scale_of
from assembler.verdict.notes import Held

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from assembler.aligner.records.findings import FoundFlaw
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet


def held_words(held: Sequence[Held]) -> str:
    """Return what passes have as one line: ``A1 (taken): mute; A2: nothing``."""
    return "; ".join(f"{one.pass_name}{' (taken)' if one.is_taken else ''}: {one.text}" for one in held)


class PlacedFlaws:
    """The flaws of one pass on one track, to be looked up by place."""

    def __init__(self, flaws: Sequence[FoundFlaw]) -> None:
        self._flaws = flaws
        self._places = np.array([(flaw.start, flaw.end) for flaw in flaws], np.int64)

    def within(self, place: Range) -> list[FoundFlaw]:
        """Return what lies in a place, cut to it."""
        low, high = self._places.clip(*place).T
        return [
            replace(self._flaws[number], start=int(low[number]), end=int(high[number]))
            for number in np.flatnonzero(low < high).tolist()
        ]


def placed_flaws(flaws: Iterable[FoundFlaw]) -> dict[tuple[str, int], PlacedFlaws]:
    """Return flaws by name of the pass and track."""
    found: dict[tuple[str, int], list[FoundFlaw]] = {}
    for flaw in flaws:
        found.setdefault((flaw.pass_name, flaw.track), []).append(flaw)
    return {key: PlacedFlaws(own) for key, own in found.items()}


class Holdings:
    """Tells what the passes of one reel have at any place."""

    def __init__(self, reel: ExaminedReel, sheet: Sheet) -> None:
        self._passes = {one.name: one for one in reel.passes}
        self._names = [one.name for one in reel.wired.passes]
        self._scale = scale_of(sheet, reel.word)
        self._flaws = placed_flaws(reel.findings.flaws)

    def at(self, track: int, place: Range, taken: Collection[str]) -> tuple[Held, ...]:
        """Return what each pass has at a place, in the order of trust."""
        told: list[Held] = []
        sounding: list[PlacedPass] = []
        for name in self._names:
            kind, text = self._held(name, track, place, sounding)
            told.append(Held(name, kind, text, name in taken))
        return tuple(told)

    def are_same(self, track: int, place: Range, names: Sequence[str]) -> bool:
        """Return whether some passes, which cover a place, hold the same samples there."""
        first, *others = (self._passes[name] for name in names)
        return not any(
            np.any(one.samples(track, *piece) != first.samples(track, *piece))
            for one in others
            for piece in pieces_of([place], READ_SAMPLES)
        )

    def _held(self, name: str, track: int, place: Range, before: list[PlacedPass]) -> tuple[str, str]:
        """Return kind and words for one pass; those that hold the place and come before it are compared with."""
        one = self._passes.get(name)
        if one is None or not one.maps[track].stretches:
            return "missing", "not used" if one is None else "not used on this track"
        covered = common(merged(one.covered(track)), [place])
        if not covered:
            is_lost = one.maps[track].start < place[0] and place[1] < one.maps[track].end
            return ("slip", "lost in a slip") if is_lost else ("missing", "nothing")
        flaws = self._flaws[name, track].within(place) if (name, track) in self._flaws else []
        kind = max(flaws, key=lambda flaw: flaw.end - flaw.start).kind if flaws else ""
        words = [kind] if kind else []
        # How loud the others are is said by their name.
        if kind not in QUIET_KINDS:
            words.append(self._peak_words(one, track, covered))
        if before:
            words.append(self._difference_words(one, before, track, covered))
        before.append(one)
        size = place[1] - place[0]
        if total(covered) < size:
            words.append(f"{total(covered)} of the {size} samples")
        return kind, ", ".join(word for word in words if word)

    def _peak_words(self, one: PlacedPass, track: int, covered: Sequence[Range]) -> str:
        peak = max(_peak(one.samples(track, low, high)) for low, high in pieces_of(covered, READ_SAMPLES))
        return f"peak {self._scale.dbfs(peak)}" if peak else "digital silence"

    def _difference_words(
        self, one: PlacedPass, before: Sequence[PlacedPass], track: int, covered: Sequence[Range]
    ) -> str:
        """Return which earlier pass has the same there; else how far it is from the first one."""
        words = ""
        for other in before:
            both = pieces_of(common(covered, merged(other.covered(track))), READ_SAMPLES)
            count = largest = 0
            for low, high in both:
                difference = one.samples(track, low, high).astype(np.int64) - other.samples(track, low, high)
                count += int(np.count_nonzero(difference))
                largest = max(largest, _peak(difference))
            if both and not count:
                return f"the same as {other.name}"
            if both and not words:
                steps = self._scale.steps(largest)
                words = f"{count} samples unlike {other.name}, by at most {steps} LSB ({self._scale.dbfs(largest)})"
        return words


def _peak(samples: np.ndarray[tuple[int], np.dtype[np.signedinteger]]) -> int:
    return int(np.abs(samples.astype(np.int64)).max())
