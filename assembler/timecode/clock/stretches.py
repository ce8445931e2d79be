"""Points sorted into stretches over which tape and log ran together, and what lies between the stretches.

The *deviation* of a point is its log time less its tape time, in seconds; it is constant, but for lateness, while
tape and log run together. Where it changes by half a frame or more a new stretch begins. A few points that
stand apart (messages held up and then let go, a garbled reading) are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.arrays import median
from assembler.timecode.findings import Finding
from assembler.timecode.labels import format_label
from assembler.timecode.mtc.counting import count_left_out

if TYPE_CHECKING:
    from assembler.arrays import Bools, Float64s, Int64s
    from assembler.timecode.mtc.decoding import TimecodePoints
    from assembler.timecode.rates import FrameRate

# Log seconds per tape second where a header or a frame rate is wrong, and what each is called.
KNOWN_RATIOS: Final = {
    1.0: "locked",
    44100 / 48000: "44.1 kHz material labelled 48 kHz",
    48000 / 44100: "48 kHz material labelled 44.1 kHz",
    1.001: "pulled down by 1.001",
    1 / 1.001: "pulled up by 1.001",
}
_PLAIN_RATIOS: Final = [ratio for ratio in KNOWN_RATIOS if ratio == 1.0 or abs(ratio - 1.0) > 0.01]
# Half-way between 1 and 1.001 would be 500 ppm.
_SNAP_SHARE: Final = 450e-6
# Messages are later than one another by less than this; so many times the doubt that follows is sure to hold all.
_PILOT_LATE_SECONDS: Final = 1e-3
_SURE_DOUBTS: Final = 3.0
# The pilot ratio is measured over a second or so, in quarter frames.
_PILOT_QUARTERS: Final = 120
# Fewer points than two readings do not make a stretch if there is a longer one.
_LEAST_POINTS: Final = 16
# Missing timecode shorter than this only counts in the missing share.
_GAP_SECONDS: Final = 0.25
# A change that a wrong count explains is that many frames but for lateness.
_COUNT_FRAMES: Final = 0.5


@dataclass(frozen=True)
class Stretches:
    """Points by stretch.

    Args:
        seconds: shape (n,), log time.
        frames: shape (n,), place in frames.
        deviations: shape (n,), seconds: log time over `ratio`, less tape time.
        groups: shape (n,), the stretch of each point: 0, 1, 2 …
        ratio: log seconds per tape second, one of `KNOWN_RATIOS` where one is near.
        tick: seconds, the step that log times were rounded to.
        findings: gaps, jumps and restarts, with place and size.
        two_sided: as in `TimecodePoints`.
        common_error: likewise, seconds.
    """

    seconds: Float64s
    frames: Float64s
    deviations: Float64s
    groups: Int64s
    ratio: float
    tick: float
    findings: tuple[Finding, ...]
    two_sided: bool
    common_error: float


def sort_into_stretches(points: TimecodePoints, rate: FrameRate) -> Stretches:
    """Return the points by stretch; at least one point is needed."""
    ratio = _pilot_ratio(points, rate)
    tape = points.frames / float(rate.exact)
    deviations = points.seconds / ratio - tape
    half_frame = 0.5 / float(rate.exact)
    kept, groups = _group(deviations, half_frame)
    seconds, frames, deviations = points.seconds[kept], points.frames[kept], deviations[kept]
    changes = _find_changes(seconds, frames, deviations, groups, rate)
    if points.count is not None and points.count.is_wrong:
        # What is reported to a person of the count explains them; between them the tape ran on.
        changes = [change for change in changes if not _is_by_count(change, rate)]
    borders = np.array([change.place for change in changes], dtype=np.int64)
    findings = _tell_gaps(seconds, borders) + [_tell_change(change, rate) for change in changes]
    dropped = points.seconds.size - seconds.size
    if dropped:
        findings.append(
            Finding("stray", None, f"{dropped} points stand apart from their neighbours; not used")
        )
    return Stretches(
        seconds=seconds,
        frames=frames,
        deviations=deviations,
        groups=groups,
        ratio=ratio,
        tick=points.tick_seconds,
        findings=tuple(findings),
        two_sided=points.two_sided,
        common_error=points.common_error_seconds,
    )


def _pilot_ratio(points: TimecodePoints, rate: FrameRate) -> float:
    """Return log seconds per tape second, roughly; one of the known ratios if it is near enough."""
    step = min(_PILOT_QUARTERS, points.frames.size - 1)
    frames = points.frames[step:] - points.frames[:-step] if step else np.zeros(0)
    seconds = points.seconds[step:] - points.seconds[:-step] if step else np.zeros(0)
    # Twice the frames: some messages may be missing. More, or backwards: a jump lies between.
    together = (frames > 0) & (frames <= 2 * step / 4)
    if not together.any():
        return 1.0
    measured = median(seconds[together] / frames[together]) * float(rate.exact)
    doubt = _PILOT_LATE_SECONDS / median(seconds[together]) / np.sqrt(np.count_nonzero(together))
    if doubt < _SNAP_SHARE:
        nearest = min(KNOWN_RATIOS, key=lambda known: abs(measured / known - 1))
        return nearest if abs(measured / nearest - 1) < _SNAP_SHARE else measured
    # Too short to tell a thousandth.
    nearest = min(_PLAIN_RATIOS, key=lambda known: abs(measured / known - 1))
    return nearest if abs(measured / nearest - 1) < _SURE_DOUBTS * doubt else measured


def _group(deviations: Float64s, half_frame: float) -> tuple[Bools, Int64s]:
    """Return which points to keep, and the stretch of each that is kept."""
    runs = np.concatenate(([0], np.cumsum(np.abs(np.diff(deviations)) > half_frame)))
    lengths = np.bincount(runs)
    least = min(_LEAST_POINTS, int(lengths.max()))
    kept = lengths[runs] >= least
    runs, left = runs[kept], deviations[kept]
    first = np.flatnonzero(np.diff(runs, prepend=-1))
    ends = np.append(first[1:], runs.size)
    # Over the points left out the deviation may come back to where it was: then nothing happened to the tape.
    borders = [0]
    for start, end, before in zip(first[1:], ends[1:], first[:-1], strict=True):
        head = median(left[start : min(end, start + 32)])
        tail = median(left[max(before, start - 32) : start])
        if abs(head - tail) > half_frame:
            borders.append(int(start))
    groups = np.zeros(runs.size, dtype=np.int64)
    groups[borders[1:]] = 1
    return kept, np.asarray(np.cumsum(groups), dtype=np.int64)


def _tell_gaps(seconds: Float64s, borders: Int64s) -> list[Finding]:
    pauses = np.diff(seconds)
    places = np.setdiff1d(np.flatnonzero(pauses > _GAP_SECONDS), borders)
    return [
        Finding(
            "timecode_gap",
            float(seconds[place]),
            f"no timecode for {float(pauses[place]):.2f} s while the tape ran on",
        )
        for place in places
    ]


@dataclass(frozen=True)
class _Change:
    """What lies between two stretches.

    Args:
        place: the last point before it, as an index.
        seconds: log time of the first point after it.
        pause: seconds between the two.
        before: frame of the one.
        after: frame of the other.
        size: how far timecode moved against the log, in frames.
    """

    place: int
    seconds: float
    pause: float
    before: int
    after: int
    size: float


def _find_changes(
    seconds: Float64s, frames: Float64s, deviations: Float64s, groups: Int64s, rate: FrameRate
) -> list[_Change]:
    return [
        _Change(
            place=int(place),
            seconds=float(seconds[place + 1]),
            pause=float(seconds[place + 1] - seconds[place]),
            before=int(frames[place]),
            after=int(frames[place + 1]),
            size=float(deviations[place] - deviations[place + 1]) * float(rate.exact),
        )
        for place in np.flatnonzero(np.diff(groups))
    ]


def _is_by_count(change: _Change, rate: FrameRate) -> bool:
    """Return whether another count than the sheet's makes just this change: two frames a minute but the tenth."""
    expected = count_left_out(change.before, change.after, rate)
    return expected != 0 and abs(change.size - expected) < _COUNT_FRAMES


def _tell_change(change: _Change, rate: FrameRate) -> Finding:
    before, after = (format_label(frame, rate) for frame in (change.before, change.after))
    where = f"from {before} to {after}, {change.size:+.2f} frames against the log"
    kind, text = "timecode_jump", f"timecode jumps {where}: the tape was cut, or many samples were lost"
    if change.size < 0:
        text = f"timecode jumps back {where}"
    if change.pause > _GAP_SECONDS:
        kind, text = "restart", f"the machine stopped and started again {where}, {change.pause:.2f} s later"
    if change.after < change.before - 1:
        text += ". What it played twice is used once; to use both, cut the capture there into two passes"
    return Finding(kind, change.seconds, text)
