"""From what the logs of a session say to places on the timeline: all MIDI logs together."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.importer.places.position import CoarseSlip, Position
from assembler.timecode import frame_rate, settle_clocks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.sheet import Session
    from assembler.timecode import ClockDraft, ClockFit, ClockStretch

STILL_SECONDS = 0.25
"""A change of shift over a longer pause in the log is a machine that stopped, was moved, and played again."""


@dataclass(frozen=True)
class LoggedClock:
    """What a pass's own log says of its place, to be settled together with the other passes' logs.

    Args:
        source: "mtc" or "ltc".
        draft: the clock.
        offset: samples that the reel's timecode is offset by.
    """

    source: str
    draft: ClockDraft
    offset: int


def settle_positions(found: Sequence[Position | LoggedClock], session: Session) -> list[Position]:
    """Return where passes lie, those with a MIDI log by all such logs together."""
    clocks: dict[int, ClockFit] = {}
    # A stripe has no interface's lateness to share.
    together = [i for i, one in enumerate(found) if isinstance(one, LoggedClock) and one.source == "mtc"]
    alone = [[i] for i, one in enumerate(found) if isinstance(one, LoggedClock) and one.source != "mtc"]
    for group in (together, *alone):
        drafts = [one.draft for one in (found[i] for i in group) if isinstance(one, LoggedClock)]
        clocks.update(zip(group, settle_clocks(drafts), strict=True))
    return [
        _clock_position(one, clocks[index], session) if isinstance(one, LoggedClock) else one
        for index, one in enumerate(found)
    ]


def _clock_position(logged: LoggedClock, clock: ClockFit, session: Session) -> Position:
    """Return the place of a pass; what its log tells of the time before its first sample is left aside."""
    stretches = [stretch for stretch in clock.stretches if stretch.log_end > 0.0] or [clock.stretches[-1]]
    frame_samples = session.sample_rate / float(frame_rate(session.frame_rate).exact)
    slips = tuple(
        _coarse_slip(
            before, after, clock.jitter_seconds * session.sample_rate, session.sample_rate, frame_samples
        )
        for before, after in pairwise(stretches)
    )
    first = stretches[0]
    shift = first.shift_samples + logged.offset
    return Position(logged.source, shift, first.uncertainty_samples, slips, clock, first.apart_samples)


def _coarse_slip(
    before: ClockStretch, after: ClockStretch, late_samples: float, sample_rate: int, frame_samples: float
) -> CoarseSlip:
    """Return what lies between two stretches: samples lost or repeated, or a tape that stood still or was wound.

    The last message before says only that the tape still played when it was sent, which was a little before it came.
    """
    change = round(after.shift_samples - before.shift_samples)
    error = 2.0 * (before.apart_samples**2 + after.apart_samples**2) ** 0.5
    sure = math.floor(before.log_end * sample_rate - late_samples)
    resumed = math.ceil(after.log_start * sample_rate)
    pause = after.log_start - before.log_end
    if pause > STILL_SECONDS and abs(change) > 0.5 * frame_samples:
        # A quarter frame is true for the quarter that it begins.
        start = round(before.log_end * sample_rate + 0.25 * frame_samples)
        return CoarseSlip(start, change, error, resumed - start, (sure, start), math.ceil(frame_samples))
    place = 0.5 * (before.log_end + after.log_start) * sample_rate
    unsure = 2.0 * after.start_error_seconds * sample_rate
    doubt = (min(sure, math.floor(place - unsure)), max(resumed, math.ceil(place + unsure)))
    return CoarseSlip(round(place), change, error, 0, doubt, math.ceil(frame_samples))
