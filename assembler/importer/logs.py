"""A timecode log from an open file: its bytes are read once, digested and decoded."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from assembler.timecode import LARGEST_CSV_BYTES, read_csv_log, read_midi_log

if TYPE_CHECKING:
    from assembler.inputs import InputFile
    from assembler.timecode import MidiLog


def read_log(log: InputFile, sample_rate: int) -> MidiLog:
    """Return the messages of a ``.mid`` or ``.csv`` log; its digest is then that of the bytes they were read from.

    Raises:
        TimecodeLogError: it holds no timecode that can be read.
        CaptureError: the disk fails.
    """
    # Of the two forms text is the longer one; the readers refuse what is larger than theirs may be.
    read = read_csv_log if log.path.suffix.lower() == ".csv" else read_midi_log
    return read(io.BytesIO(log.read_all(LARGEST_CSV_BYTES)), sample_rate)
