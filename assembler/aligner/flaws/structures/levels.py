"""Levels that a version of a place holds, but for those no longer than the sound's own.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.flaws.limits import MOST_IN_A_ROW
from assembler.aligner.flaws.structures.builds import CLIPPED, LONG_CLIPPED, PEAKS, Structure
from assembler.aligner.records.limits import CHANCE_SAMPLES, CLEARLY, LEAST_TELLING
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.levels import Run, constant_runs
from assembler.aligner.sound.limits import LEAST_RUN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


def held_levels(
    samples: Int32s, agreed: Int32s, place: Range, longest: int, longest_zero: int
) -> list[Structure]:
    """Return the levels held in a place, but for those no longer than the sound's own; at a clipped peak, as such."""
    # Where levels are held by nature one may reach far out of the place, and tell by its length.
    reach = samples.size if longest else LEAST_RUN
    low, high = max(0, place[0] - reach), min(samples.size, place[1] + reach)
    runs = [
        Run(run.start + low, run.end + low, run.value)
        for run in constant_runs(samples[low:high], LEAST_RUN if longest else LEAST_TELLING)
        if run.end + low > place[0] - LEAST_RUN and run.start + low < place[1] + LEAST_RUN
    ]
    found = [
        Structure("mute", run.start, run.end)
        for run in runs
        if run.value == 0 and run.end - run.start > max(longest_zero, LEAST_RUN - 1)
    ]
    # The first sample of a level held is the last good one.
    own = _own_levels(agreed, place) if longest else set()
    for run in _not_in_a_row([run for run in runs if run.value]):
        kind = "hold" if longest else _level_kind(run, agreed, place)
        natural = longest if not own or run.value in own else 0
        if run.end - run.start > (natural if natural or kind in PEAKS else LEAST_RUN - 1):
            found.append(Structure(kind, run.start + 1, run.end, (run.start,), natural=natural))
    return found


def _own_levels(agreed: Int32s, place: Range) -> set[int]:
    """Return the levels that the sound around a place holds, where they are few; none where they are not."""
    sides = (agreed[: place[0]], agreed[place[1] :])
    levels = {run.value for side in sides for run in constant_runs(side)}
    return levels if len(levels) <= MOST_IN_A_ROW else set()


def _level_kind(run: Run, agreed: Int32s, place: Range) -> str:
    """Return what a level is that is held: sound around may stay there too, as its largest, if peaks are clipped."""
    flats = []
    for low, high in ((0, place[0]), (place[1], agreed.size)):
        side = agreed[low:high]
        if side.size and run.value in (int(side.min()), int(side.max())):
            flats += ranges_of(side == run.value, offset=low)
    # What it grows out of is the level itself.
    lengths = [end - start for start, end in flats if end < run.start or run.end < start]
    size, usual = run.end - run.start, max(lengths, default=0)
    fills_place = run.start <= place[0] and place[1] <= run.end
    if size <= usual and not fills_place:
        return CLIPPED
    return LONG_CLIPPED if size <= CLEARLY * usual else "hold"


def _not_in_a_row(runs: Sequence[Run]) -> list[Run]:
    """Return the runs but for those of which several follow each other without a sample between: a square wave's."""
    rows: list[list[Run]] = []
    for run in runs:
        if rows and rows[-1][-1].end == run.start:
            rows[-1].append(run)
        else:
            rows.append([run])
    return [run for row in rows for run in (row if len(row) <= MOST_IN_A_ROW else _outstanding(row))]


def _outstanding(row: Sequence[Run]) -> list[Run]:
    """Return the run of a row that is many times as long as every other; none where no run is."""
    *others, longest = sorted(row, key=lambda run: run.end - run.start)
    usual = max(run.end - run.start for run in others)
    return [longest] if longest.end - longest.start >= CLEARLY * usual else []


def longest_level(agreed: Int32s, place: Range) -> int:
    """Return how long the sound around a place holds a level at most."""
    sides = (agreed[: place[0]], agreed[place[1] :])
    return max(
        (run.end - run.start + CHANCE_SAMPLES for side in sides for run in constant_runs(side) if run.value),
        default=0,
    )
