"""Timecode: frame rates and labels, MIDI timecode logs, linear timecode, and what clock a log kept.

Question: at which sample of the timeline does a pass begin, as far as timecode tells?
Input: the bytes of a log, or the samples of a stripe; the sheet's frame rate.
Output: labels and samples of each other; a `ClockFit`; findings. Each room uses only those before it.

Each in its file:

- `rates`, `labels`, `samples`: how timecode counts; labels to frames; frames to samples.
- `findings`: what is found in a log or a stripe, with its place.
- `logs/`: files to messages; `mtc/`: messages to points; `ltc/`: the same from sound.
- `clock/`: points to a place.
"""

from assembler.timecode.clock.clock import draft_clock, fit_clock, settle_clocks
from assembler.timecode.clock.fits import ClockDraft, ClockFit, ClockStretch
from assembler.timecode.findings import Finding
from assembler.timecode.labels import format_label, parse_label, parse_offset
from assembler.timecode.logs.csvlog import LARGEST_CSV_BYTES, read_csv_log
from assembler.timecode.logs.messages import FullFrame, MidiLog
from assembler.timecode.logs.smf import read_midi_log
from assembler.timecode.logs.writing import (
    MILLISECOND_TICKS,
    TICKS_PER_BEAT_960,
    encode_full_frame,
    encode_quarter_frames,
    encode_quarter_stream,
    quarter_messages,
    write_midi_log,
)
from assembler.timecode.ltc import LtcLog, decode_ltc, encode_ltc, ltc_points
from assembler.timecode.mtc.counting import Count, answer_count
from assembler.timecode.mtc.decoding import TimecodePoints, decode_quarter_frames
from assembler.timecode.rates import FRAME_RATES, RATES_BY_CODE, FrameRate, frame_rate
from assembler.timecode.samples import (
    day_samples,
    format_place,
    format_sample,
    frame_to_sample,
    frames_to_samples,
    label_sample,
    nearest_day,
    next_after,
    sample_to_frame,
)

__all__ = [
    "FRAME_RATES",
    "LARGEST_CSV_BYTES",
    "MILLISECOND_TICKS",
    "RATES_BY_CODE",
    "TICKS_PER_BEAT_960",
    "ClockDraft",
    "ClockFit",
    "ClockStretch",
    "Count",
    "Finding",
    "FrameRate",
    "FullFrame",
    "LtcLog",
    "MidiLog",
    "TimecodePoints",
    "answer_count",
    "day_samples",
    "decode_ltc",
    "decode_quarter_frames",
    "draft_clock",
    "encode_full_frame",
    "encode_ltc",
    "encode_quarter_frames",
    "encode_quarter_stream",
    "fit_clock",
    "format_label",
    "format_place",
    "format_sample",
    "frame_rate",
    "frame_to_sample",
    "frames_to_samples",
    "label_sample",
    "ltc_points",
    "nearest_day",
    "next_after",
    "parse_label",
    "parse_offset",
    "quarter_messages",
    "read_csv_log",
    "read_midi_log",
    "sample_to_frame",
    "settle_clocks",
    "write_midi_log",
]
