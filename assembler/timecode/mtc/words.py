"""What the decoding of a log tells, in an engineer's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.timecode.findings import CHECK_RATE, OTHER_SOURCES, Finding, tell_damage
from assembler.timecode.labels import (
    describe_missing,
    labels_exist,
)

if TYPE_CHECKING:
    from assembler.timecode.labels import Labels
    from assembler.timecode.logs.messages import MidiLog
    from assembler.timecode.mtc.readings import Readings
    from assembler.timecode.rates import FrameRate


def explain_nothing(log: MidiLog, readings: Readings, reverse_seconds: float, rate: FrameRate) -> str:
    """Return why a log gives no timecode, and what to do."""
    cure = OTHER_SOURCES
    count = int(log.quarter_data.size)
    odd = tell_damage(log.findings)
    if not count:
        locates = len(log.full_frames)
        return (
            f"{locates} full-frame messages (locates) but no quarter frame, so time never runs{odd}; {cure}"
        )
    if readings.start.size:
        return _explain_readings(readings.labels, rate, cure)
    if reverse_seconds:
        return f"the timecode only runs backwards ({reverse_seconds:.2f} s){odd}; {cure}"
    return f"{count} quarter frames, but nowhere eight in a row that make one reading{odd}; {cure}"


def _explain_readings(labels: Labels, rate: FrameRate, cure: str) -> str:
    """Return why no reading can be believed, though there are some."""
    count = labels.frames.size
    if labels_exist(labels, rate).any():
        return f"{count} readings, each contradicted by the next; {cure}"
    is_rate = rate.drop or bool((labels.frames >= rate.nominal).any())
    advice = CHECK_RATE if is_rate else cure
    first = describe_missing(labels, rate)
    return f"{count} readings, none with a label that exists at rate {rate.name}, the first {first}; {advice}"


def tell_refused(count: int) -> list[Finding]:
    """Return what is reported of readings that no other bears out."""
    if not count:
        return []
    return [Finding("unread", None, f"{count} readings contradict their neighbours or the rate; not used")]


def tell_locates(log: MidiLog, running_from: float) -> list[Finding]:
    """Return what is reported of full-frame messages that came before the tape ran."""
    count = sum(full.seconds <= running_from for full in log.full_frames)
    if not count:
        return []
    text = f"{count} full-frame messages (locates) before timecode ran; a locate is not running time"
    return [Finding("locate", log.full_frames[0].seconds, text)]
