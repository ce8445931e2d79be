"""A pass as the record has it."""

# pydantic reads the annotations while the program runs: no postponed evaluation in this module.
from typing import Literal

from assembler.record.recorded.base import Count, Digest, Recorded


class RecordedFile(Recorded):
    """A capture file; no digest where it was not computed."""

    path: str
    sha256: Digest | None
    samples: Count


class RecordedLog(Recorded):
    """A timecode log; no digest where it was not computed."""

    path: str
    sha256: Digest | None


class RecordedPass(Recorded):
    """A pass: its files, and where each tape track lies in them."""

    name: str
    reel: str
    files: tuple[RecordedFile, ...]
    log: RecordedLog | None = None
    channels: tuple[tuple[Count, Count], ...]
    polarity: tuple[Literal[1, -1], ...]
