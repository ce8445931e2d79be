"""Timecode logs as an interface would write them: quarter frames, each a little late.

Every message is late by the interface's fixed delay and, by chance, by up to a millisecond more. The four
forms differ in how they are written down, and in how finely they tell the time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.demo.music.voices import SAMPLE_RATE
from assembler.demo.scenario import DELAY_MS, FRAME_RATE, JITTER_MS, TAPE_START
from assembler.timecode import (
    MILLISECOND_TICKS,
    TICKS_PER_BEAT_960,
    encode_quarter_stream,
    frame_rate,
    quarter_messages,
    write_midi_log,
)

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Bytes, Float64s
    from assembler.demo.medium.recorder import Capture
    from assembler.demo.scenario import LogForm

_QUARTER_SAMPLES: Final = SAMPLE_RATE // 120  # 30 frames a second, four messages a frame


def log_messages(capture: Capture, generator: np.random.Generator) -> tuple[Float64s, Bytes]:
    """Return when each quarter frame of a pass was logged, and its data byte.

    A pass seldom begins with the first message of a reading: the log begins with whatever was due. Where the machine
    was out of lock there is none. The clock is the recorder's count of samples, which does not know of lost ones.

    Returns:
        Seconds from the pass's first sample, rising, shape (messages,); data bytes, the same shape.
    """
    start, end = TAPE_START + int(capture.place[0]), TAPE_START + int(capture.place[-1]) + 1
    first, last = -(-start // _QUARTER_SAMPLES), end // _QUARTER_SAMPLES
    due = np.arange(first, last) * _QUARTER_SAMPLES - TAPE_START
    at = np.searchsorted(capture.place, due)
    late = (DELAY_MS + JITTER_MS * generator.random(due.size)) / 1000
    # Messages that came with lost samples come at once when the recorder goes on, in their order.
    seconds = np.maximum.accumulate(at / SAMPLE_RATE + late)
    came = capture.locked[at]
    return seconds[came], encode_quarter_stream(first, due.size, frame_rate(FRAME_RATE))[came]


def write_log(folder: Path, form: LogForm, capture: Capture, generator: np.random.Generator) -> None:
    """Write a pass's log into its folder, in the form that the story gives it."""
    seconds, data = log_messages(capture, generator)
    if form in {"seconds", "sample"}:
        text = _csv_text(seconds, data, in_samples=form == "sample")
        (folder / "timecode.csv").write_text(text, encoding="ascii", newline="\n")
        return
    with (folder / "timecode.mid").open("wb") as stream:
        messages = quarter_messages(data)
        if form == "beats":
            write_midi_log(stream, seconds, messages, division=TICKS_PER_BEAT_960)
        else:
            write_midi_log(stream, seconds, messages, division=MILLISECOND_TICKS, escaped=True)


def _csv_text(seconds: Float64s, data: Bytes, *, in_samples: bool) -> str:
    """Return a log to the microsecond, or to the sample."""
    times = (str(round(time * SAMPLE_RATE)) if in_samples else f"{time:.6f}" for time in seconds)
    rows = [f"{time},F1{byte:02X}\n" for time, byte in zip(times, data, strict=True)]
    return ("sample" if in_samples else "seconds") + ",bytes\n" + "".join(rows)
