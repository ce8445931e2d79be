"""All reels of a session, from imported passes to findings: placed, tied to each other, compared."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from assembler.aligner.place.idle import without_idle
from assembler.aligner.place.reels.tie import tie_reels
from assembler.aligner.reel import compare_passes, place_passes

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.aligner.records.reel import ExaminedReel
    from assembler.importer import ImportedSession

THREADS = 2
"""Array operations run outside the interpreter lock; more threads than two gain little before disks are the limit."""


def examine_reels(session: ImportedSession, advance: Callable[[str, float], None]) -> list[ExaminedReel]:
    """Return what is known of each reel of a session, in the order of the sheet.

    Args:
        session: imported passes.
        advance: called with what is being done and the share of it that is done.

    Raises:
        CaptureError: a capture cannot be read.
    """
    sheet = session.sheet
    with ThreadPoolExecutor(THREADS) as executor:
        placed = [place_passes(session, reel, advance) for reel in sheet.reels]
        tied = tie_reels(placed, sheet.session.sample_rate)
        played = [without_idle(one, session.of_reel(one.name), sheet.session) for one in tied]
        return [compare_passes(reel, session, executor, advance) for reel in played]
