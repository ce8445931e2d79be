"""All reels of a session, from imported passes to findings: placed, tied to each other, compared."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.place.idle import without_idle
from assembler.aligner.place.reels.tie import tie_reels
from assembler.aligner.reel import compare_passes, place_passes

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    from assembler.aligner.records.reel import ExaminedReel
    from assembler.importer import ImportedSession


def examine_reels(
    session: ImportedSession, executor: Executor, advance: Callable[[str, float], None]
) -> list[ExaminedReel]:
    """Return what is known of each reel of a session, in the order of the sheet.

    Raises:
        CaptureError: a capture cannot be read.
    """
    sheet = session.sheet
    placed = [place_passes(session, reel, advance) for reel in sheet.reels]
    tied = tie_reels(placed, sheet.session.sample_rate)
    played = [without_idle(one, session.of_reel(one.name), sheet.session) for one in tied]
    return [compare_passes(reel, session, executor, advance) for reel in played]
