"""All reels of a session, from imported passes to findings: placed, tied to each other, compared.

What a comparison shows may be at another shift than it was placed at is placed and compared again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.place.idle import without_idle
from assembler.aligner.place.reels.strayed import strayed_ranges
from assembler.aligner.place.reels.tie import tie_reels
from assembler.aligner.records.limits import ROUNDS
from assembler.aligner.records.ranges import merged, total
from assembler.aligner.reel import compare_passes, place_passes

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.importer import ImportedSession


def examine_reels(
    session: ImportedSession, executor: Executor, advance: Callable[[str, float], None]
) -> list[ExaminedReel]:
    """Return what is known of each reel of a session, in the order of the sheet.

    Raises:
        CaptureError: a capture cannot be read.
    """
    placed = _played(session, {}, advance)
    latest = best = [compare_passes(reel, session, executor, advance) for reel in placed]
    strayed: dict[str, dict[str, list[Range]]] = {reel.name: {} for reel in best}
    # A second placement may be no better, and show what makes a third one right.
    for _ in range(1, ROUNDS):
        for reel in latest:
            for name, own in strayed_ranges(reel.findings, reel.maps).items():
                strayed[reel.name][name] = merged([*strayed[reel.name].get(name, ()), *own])
        before, placed = placed, _played(session, strayed, advance) if any(strayed.values()) else placed
        if all(one.maps == other.maps for one, other in zip(before, placed, strict=True)):
            break
        latest = [
            known if one.maps == other.maps else compare_passes(other, session, executor, advance)
            for known, one, other in zip(latest, before, placed, strict=True)
        ]
        best = [_better(one, other) for one, other in zip(best, latest, strict=True)]
    return best


def _better(first: ExaminedReel, second: ExaminedReel) -> ExaminedReel:
    """Return the reel as it was placed the second time, if less of it is flawed so, and no more is left to a person."""
    asked = [sum(note.kind == "undecided" for note in reel.notes) for reel in (first, second)]
    return second if asked[1] <= asked[0] and _flawed(second) < _flawed(first) else first


def _flawed(reel: ExaminedReel) -> int:
    """Return how many samples of all tracks and passes are flawed, open or lost."""
    lost = sum(total(tracks.lost()) for one in reel.passes for tracks in one.maps)
    flaws = total((one.start, one.end) for one in reel.findings.flaws)
    return lost + flaws + total((one.start, one.end) for one in reel.findings.undecided)


def _played(
    session: ImportedSession,
    strayed: Mapping[str, Mapping[str, Sequence[Range]]],
    advance: Callable[[str, float], None],
) -> list[ExaminedReel]:
    """Return the reels whose passes lie on the timeline, not compared yet."""
    sheet = session.sheet
    placed = [place_passes(session, reel, strayed.get(reel.name, {}), advance) for reel in sheet.reels]
    tied = tie_reels(placed, sheet.session.sample_rate)
    return [without_idle(one, session.of_reel(one.name), sheet.session) for one in tied]
