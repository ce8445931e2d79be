"""What linear timecode says of a pass's place: on one of the tape's own tracks, or in a file beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.errors import CaptureError, TimecodeError, TimecodeLogError
from assembler.importer.places.settling import LoggedClock
from assembler.timecode import Finding, draft_clock
from assembler.timecode.ltc import decode_ltc, ltc_points

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from assembler.arrays import Int32s
    from assembler.importer.audio import PassAudio
    from assembler.importer.places.position import Asked
    from assembler.timecode import ClockDraft
    from assembler.wave import WaveFile

STRIPE_BLOCK = 1 << 18

FASTEST_STRIPE = 384_000
"""Twice the fastest rate of a session: what is laid out for a second of sound takes memory by this rate."""

LABEL_TOLERANCE = 0.01
"""Sample rates in use lie further apart than this; pull-down and clocks move one by less."""


@dataclass(frozen=True)
class _Stripe:
    """A recording of the timecode signal: where it is, the rate it is labelled with, its length and its samples."""

    path: Path
    sample_rate: int
    length: int
    read: Callable[[int, int], Int32s]

    def blocks(self) -> Iterator[Int32s]:
        """Yield the samples in order."""
        for start in range(0, self.length, STRIPE_BLOCK):
            yield self.read(start, min(STRIPE_BLOCK, self.length - start))


def track_position(asked: Asked, audio: PassAudio, track: int) -> LoggedClock:
    """Return what linear timecode on one of the tape's own tracks says.

    Raises:
        TimecodeLogError: it holds no timecode that can be read.
    """

    def read(start: int, count: int) -> Int32s:
        return audio.read(track, start, count)

    stripe = _Stripe(audio.path(track), audio.sample_rate, audio.track_lengths[track], read)
    return _position(asked, stripe)


def file_position(asked: Asked, file: WaveFile) -> LoggedClock:
    """Return what linear timecode in a file of its own says.

    Raises:
        CaptureError: the file has more than one channel, or too high a rate.
        TimecodeLogError: it holds no timecode that can be read.
    """
    info = file.info
    if info.format.channels != 1:
        raise CaptureError(f"has {info.format.channels} channels; a timecode recording has 1", path=file.path)

    if info.format.sample_rate > FASTEST_STRIPE:
        allowed = f"up to {FASTEST_STRIPE} Hz in a timecode recording"
        problem = f"header says {info.format.sample_rate} Hz; allowed: {allowed}"
        raise CaptureError(problem, path=file.path)

    def read(start: int, count: int) -> Int32s:
        return file.read(start, count)[:, 0]

    stripe = _Stripe(file.path, info.format.sample_rate, info.frames, read)
    return _position(asked, stripe)


def _position(asked: Asked, stripe: _Stripe) -> LoggedClock:
    """Return what linear timecode says.

    A stripe that was recorded beside the tracks shares their clock, and so their wrong label where it is wrong. One
    whose label is another may have a wrong one of its own: that is reported, and put right where the sheet asks.
    """
    rate, is_relabelled = asked.session.sample_rate, asked.one.relabel
    if stripe.sample_rate == asked.header_rate:
        own = rate if is_relabelled else asked.header_rate
        return LoggedClock("ltc", _draft(asked, stripe, own), asked.offset)
    draft = _draft(asked, stripe, stripe.sample_rate)
    if abs(draft.ratio * stripe.sample_rate / rate - 1.0) > LABEL_TOLERANCE or stripe.sample_rate == rate:
        return LoggedClock("ltc", draft, asked.offset)
    label = f"the header of {stripe.path.name} says {stripe.sample_rate} Hz"
    if is_relabelled:
        told = Finding("relabelled", None, f"{label}; samples taken as {rate} Hz as the sheet asks")
        draft = _draft(asked, stripe, rate)
        return LoggedClock("ltc", replace(draft, findings=(*draft.findings, told)), asked.offset)
    text = (
        f"{label}, the sheet {rate} Hz, and its timecode runs as it does at {rate} Hz: only the beginning of the pass "
        "is in its place. If the header is wrong, set relabel = true on the pass"
    )
    others = [one for one in draft.findings if one.kind not in ("mislabelled", "not_clocked")]
    findings = (*others, Finding("mislabelled", None, text))
    return LoggedClock("ltc", replace(draft, findings=findings), asked.offset)


def _draft(asked: Asked, stripe: _Stripe, sample_rate: int) -> ClockDraft:
    rate = asked.frame_rate
    try:
        points = ltc_points(decode_ltc(stripe.blocks(), sample_rate, rate))
        return draft_clock(points, rate, asked.session.sample_rate, delay_seconds=asked.delay_seconds)
    except TimecodeLogError as error:
        raise TimecodeLogError(error.problem, path=stripe.path, place=error.place) from error
    except TimecodeError as error:
        raise TimecodeLogError(str(error), path=stripe.path) from error
