"""What a pass's timecode log says of slips: as slips of a time map, and whether it means one that the sound shows.

Positions are samples of the pass itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.place.limits import SEARCH_SECONDS
from assembler.aligner.records.limits import NEAR_SAMPLES
from assembler.aligner.records.timemap import Slip

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.importer import CoarseSlip, Position


def logged_slips(logged: CoarseSlip) -> list[Slip]:
    """Return a slip of the log as slips of a time map: what a pass holds while its tape stood still is left out.

    Where the tape was played again, the second play takes over before the first one's end, whose place is in doubt.
    """
    still = logged.still_samples
    unsure = logged.pass_sample - logged.doubt[0]
    sure = logged.pass_sample - max(logged.margin_samples, unsure)
    if sure >= 0 and logged.samples <= sure - max(logged.pass_sample + still, logged.doubt[1]):
        return [Slip(sure, logged.samples)]
    if still == 0 or logged.samples <= -still:
        return [Slip(logged.pass_sample, logged.samples, logged.doubt)] if logged.samples else []
    return [
        Slip(logged.pass_sample, -still, logged.doubt),
        Slip(logged.pass_sample + still, logged.samples + still),
    ]


def only_logged(
    position: Position, proved: Sequence[tuple[int, int]], seen: Sequence[tuple[int, int]], sample_rate: int
) -> list[Slip]:
    """Return the slips of a log outside of what is proved by sound, in which no slip is that it may mean.

    Proved are pass samples for which another pass bears witness, beyond which there may be silence; seen are place and
    size of slips that the sound shows.
    """
    return [
        slip
        for logged in position.slips
        if not any(start <= logged.pass_sample < end for start, end in proved)
        and not any(_is_meant(logged, at, samples, sample_rate) for at, samples in seen)
        for slip in logged_slips(logged)
    ]


def is_logged(position: Position, at: int, samples: int, sample_rate: int) -> bool:
    """Return whether the log of a pass shows this slip near this place."""
    return any(_is_meant(slip, at, samples, sample_rate) for slip in position.slips)


def is_denied(position: Position, slip: Slip, sample_rate: int) -> bool:
    """Return whether the log of a pass runs on where it would show this slip, larger than its messages are late."""
    fit = position.clock
    if fit is None or is_logged(position, slip.pass_sample, slip.samples, sample_rate):
        return False
    at, beside = slip.pass_sample / sample_rate * fit.rate_ratio, SEARCH_SECONDS[-1]
    is_seen = any(one.log_start <= at - beside and at + beside <= one.log_end for one in fit.stretches)
    return is_seen and abs(slip.samples) > fit.jitter_seconds * sample_rate + fit.common_samples


def _is_meant(logged: CoarseSlip, at: int, samples: int, sample_rate: int) -> bool:
    """Return whether a log's slip may be this one."""
    return abs(logged.pass_sample - at) < SEARCH_SECONDS[-1] * sample_rate and abs(
        logged.samples - samples
    ) <= max(NEAR_SAMPLES, logged.error_samples)
