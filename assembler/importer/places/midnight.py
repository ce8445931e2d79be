"""A session that crosses midnight: labels begin again, the timeline runs on."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.timecode import day_samples, frame_rate, label_sample

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.importer.places.position import Position
    from assembler.sheet import Session


def past_midnight(positions: Sequence[Position], session: Session) -> list[Position]:
    """Return places on a timeline that runs on for passes that start after midnight in a session that crosses it.

    Args:
        positions: of the session's passes, each on the day of its labels; those without a place stay.
        session: for its rates, its start and its end.
    """
    day = day_samples(frame_rate(session.frame_rate), session.sample_rate)
    starts = [one.shift for one in positions if one.source != "audio"]
    evening = _evening(starts, session, day) if starts else None
    return [
        replace(one, shift=one.shift + day)
        if evening is not None and one.source != "audio" and one.shift < evening
        else one
        for one in positions
    ]


def _evening(starts: Sequence[float], session: Session, day: int) -> float | None:
    """Return from which sample on labels are the evening's, and before which the next day's; None for a single day.

    Where the sheet's end lies before its start the session does not run between the two. Otherwise it does not run
    in the widest stretch in which nothing starts, be it a pass or the set.
    """
    rate = frame_rate(session.frame_rate)
    start, end = (
        None if label is None else label_sample(label, rate, session.sample_rate)
        for label in (session.start, session.end)
    )
    if start is not None and end is not None and end < start:
        return (start + end) / 2
    known: list[float] = sorted([*starts, *(() if start is None else (start,))])
    if known[-1] - known[0] <= day / 2:
        return None
    _, evening = max((after - before, after) for before, after in pairwise(known))
    return evening
