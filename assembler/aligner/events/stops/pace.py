"""Stops of all tracks of a pass at once, joined; those that may be played are told from a machine's by their pace.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.stops.stop import Stop, joined_stills
from assembler.aligner.records.limits import LEAST_PROOFS, NEAR_SAMPLES, NEARLY_ALL, WINDOW_SAMPLES
from assembler.aligner.records.ranges import common, merged
from assembler.aligner.sound.limits import LEAST_BEAT, MOST_ALIKE
from assembler.arrays import median

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from assembler.aligner.events.stops.stop import Still
    from assembler.aligner.records.ranges import Range


def joined_stops(
    stills: Mapping[int, Sequence[Still]], repeats: Mapping[int, Sequence[Stop]]
) -> dict[int, list[Stop]]:
    """Return the stops of passes, by their index, in order, those that overlap as one, but for what may be played.

    A band stops at once now and then, a drum machine again and again, but neither at the pace of a drum that turns.
    Where the tape can't be read passes stop between the same samples: what one of them proves holds for others that do
    so over a ramp.

    Args:
        stills: where each stands still, as blocks show parts of it.
        repeats: where each holds once more what was before.
    """
    joined = {
        index: _joined(
            [
                *filter(None, (one.stop() for one in joined_stills(stills.get(index, ())))),
                *repeats.get(index, ()),
            ]
        )
        for index in sorted({*stills, *repeats})
    }
    joined = _with_hidden_ramps(joined)
    grid = _grid_of({one.inner for stops in joined.values() for one in stops if one.is_witnessed})
    proved = {index: _but_played(stops, grid) for index, stops in joined.items()}
    known = {stop for stops in proved.values() for stop in stops}
    return {
        index: [stop for stop in stops if stop in proved[index] or any(_is_same(stop, one) for one in known)]
        for index, stops in joined.items()
    }


def _with_hidden_ramps(joined: Mapping[int, Sequence[Stop]]) -> dict[int, list[Stop]]:
    """Return stops with the ramps that no other pass shows, as one stands still there: as long as those that are shown.

    Two heads read in turn: where each was clogged in another pass, one stops as the other one goes on.
    """
    known = [stop.ramps for stops in joined.values() for stop in stops]
    usual = [round(median([ramps[side] for ramps in known if ramps[side]] or [0])) for side in (0, 1)]
    longer: dict[int, list[Stop]] = {}
    for index, stops in joined.items():
        still = merged(one.inner for of, own in joined.items() if of != index for one in own)
        longer[index] = []
        for stop in stops:
            hidden = [
                0 if ramp or not common([(beside, beside + 1)], still) else length
                for ramp, length, beside in zip(stop.ramps, usual, (stop.start - 1, stop.end), strict=True)
            ]
            ramps = stop.ramps[0] + hidden[0], stop.ramps[1] + hidden[1]
            wider = replace(stop, start=stop.start - hidden[0], end=stop.end + hidden[1], ramps=ramps)
            longer[index].append(wider)
    return {index: _joined(stops) for index, stops in longer.items()}


def _but_played(stops: Sequence[Stop], grid: Range | None) -> list[Stop]:
    """Return the stops of a pass that may not be played: not those that begin and end with the sweeps of a grid."""
    paced = _at_drums_pace(stops) | {
        stop for stop in stops if grid and all(_is_on_grid(edge, *grid) for edge in stop.inner)
    }
    lone = [stop for stop in stops if not stop.is_witnessed and stop not in paced]
    instant = [stop for stop in lone if stop.is_instant]
    left_out = {stop for stop in lone if not stop.is_instant or len(instant) > MOST_ALIKE}
    return [stop for stop in stops if stop not in left_out]


def _is_same(first: Stop, second: Stop) -> bool:
    """Return whether two passes stop between the same samples, but for their ramps."""
    return max(abs(one - other) for one, other in zip(first.inner, second.inner, strict=True)) <= NEAR_SAMPLES


def _at_drums_pace(stops: Sequence[Stop]) -> set[Stop]:
    """Return the stops that come at the pace of a drum that turns, and those that begin and end with its sweeps."""
    starts = [stop.start for stop in stops]
    paced: set[Stop] = set()
    grids: set[Range] = set()
    for at, (first, second, third) in enumerate(zip(starts, starts[1:], starts[2:], strict=False)):
        pace = second - first
        if pace <= LEAST_BEAT and abs(third - second - pace) <= NEAR_SAMPLES:
            paced |= set(stops[at : at + 3])
            if third - second == pace >= 2 * WINDOW_SAMPLES:
                grids.add((pace // 2, first % (pace // 2)))
    return paced | {
        stop
        for stop in stops
        if any(_is_on_grid(stop.start, *grid) and _is_on_grid(stop.end, *grid) for grid in grids)
    }


def _grid_of(stops: Collection[Range]) -> Range | None:
    """Return the length of a sweep, and where one begins, if nearly all borders of several stops lie where sweeps do.

    These are known to be a machine's, and the drum turns with the tape: its grid is the same all along, in all passes.
    """
    if len(stops) < LEAST_PROOFS:
        return None
    edges = np.array(sorted(edge for stop in stops for edge in stop))
    for sweep in range(LEAST_BEAT // 2, WINDOW_SAMPLES - 1, -1):
        phase = int(np.median(edges[0] + (edges - edges[0] + sweep // 2) % sweep - sweep // 2)) % sweep
        if sum(_is_on_grid(int(edge), sweep, phase) for edge in edges) >= NEARLY_ALL * edges.size:
            return sweep, phase
    return None


def _is_on_grid(at: int, sweep: int, phase: int) -> bool:
    """Return whether a sample is where a sweep begins; two heads read in turn, so that a pace may be two sweeps'."""
    off = (at - phase) % sweep
    return min(off, sweep - off) <= NEAR_SAMPLES


def _joined(stops: Sequence[Stop]) -> list[Stop]:
    joined: list[Stop] = []
    for stop in sorted(stops, key=lambda one: (one.start, one.end)):
        last = joined[-1] if joined else None
        if last and stop.start <= last.end:
            kind = "mute" if "mute" in (last.kind, stop.kind) else stop.kind
            is_witnessed = last.is_witnessed or stop.is_witnessed
            end, tracks = max(last.end, stop.end), last.tracks | stop.tracks
            is_instant = last.is_instant or stop.is_instant
            ramps = last.ramps[0], (stop if stop.end == end else last).ramps[1]
            joined[-1] = Stop(last.start, end, kind, tracks, is_witnessed, is_instant, ramps)
        else:
            joined.append(stop)
    return joined
