"""All reels of a session, from imported passes to findings: placed, tied to each other, compared.

What a comparison shows may be at another shift than it was placed at is placed and compared once more.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.place.idle import without_idle
from assembler.aligner.place.reels.strayed import strayed_ranges
from assembler.aligner.place.reels.tie import tie_reels
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
    played = _played(session, {}, advance)
    compared = [compare_passes(reel, session, executor, advance) for reel in played]
    strayed = {reel.name: strayed_ranges(reel.findings, reel.maps) for reel in compared}
    if not any(strayed.values()):
        return compared
    again = _played(session, strayed, advance)
    return [
        known if before.maps == after.maps else compare_passes(after, session, executor, advance)
        for known, before, after in zip(compared, played, again, strict=True)
    ]


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
