"""A delivered track as the record has it."""

# pydantic reads the annotations while the program runs: no postponed evaluation in this module.
from typing import Annotated, Final, TypeAlias

from pydantic import Field

from assembler.aligner import extent_of, size_of
from assembler.record.recorded.base import Count, Recorded

MOST_REELS = 1000
"""Each track is held against each of its reels."""
Level: TypeAlias = Annotated[float, Field(ge=-1000, le=1000)]

FARTHEST_FILL: Final = 1 << 36
"""No span is as long: 16 days at 48 kHz."""

Fill: TypeAlias = Annotated[int, Field(ge=1, le=FARTHEST_FILL)]
FillPlace: TypeAlias = Annotated[int, Field(ge=-FARTHEST_FILL, le=FARTHEST_FILL)]


class RecordedFilled(Recorded):
    """Samples of a woven stretch that a span has from another pass; runs count from the span's start."""

    pass_name: Annotated[str, Field(alias="pass")]
    pass_start: FillPlace
    at: Annotated[tuple[tuple[FillPlace, Fill, Fill], ...], Field(min_length=1)]

    @property
    def extent(self) -> tuple[int, int]:
        """From the first sample to after the last one, from the span's start."""
        return extent_of(self.at)

    @property
    def samples(self) -> int:
        """How many samples are taken."""
        return size_of(self.at)


class RecordedSpan(Recorded):
    """A stretch and where it comes from."""

    start: Count
    end: Count
    pass_name: Annotated[str | None, Field(alias="pass")]
    pass_start: Count | None = None
    filled: tuple[RecordedFilled, ...] = ()


class RecordedJoin(Recorded):
    """A border of two spans."""

    at: Count
    fade: Count
    law: str
    correlation: Annotated[float, Field(ge=-1, le=1)]
    difference_peak: Count


class RecordedLevels(Recorded):
    """What was measured on a track; the names are those of the meter's ``TrackLevels``."""

    integrated_lufs: Level | None
    loudness_range_lu: Level | None
    max_momentary_lufs: Level | None
    max_short_term_lufs: Level | None
    true_peak_dbtp: Level | None
    sample_peak_dbfs: Level | None
    rms_dbfs: Level | None
    dc_offset: Level
    bits_in_use: Count
    clipped_runs: Count
    silent_share: Level


class RecordedTrack(Recorded):
    """A delivered track. ``file``, digest and levels are known once it is written."""

    number: Annotated[int, Field(ge=1, le=1_000_000)]
    name: str
    reels: Annotated[tuple[str, ...], Field(max_length=MOST_REELS)]
    # A set may come from anywhere: no file outside the folder of the tracks is ever opened.
    file: Annotated[str, Field(pattern=r"^(tracks/[^/\\\x00]+\.wav)?$")] = ""
    audio_sha256: Annotated[str, Field(pattern="^([0-9a-f]{64})?$")] = ""
    levels: RecordedLevels | None = None
    spans: Annotated[tuple[RecordedSpan, ...], Field(min_length=1)]
    joins: tuple[RecordedJoin, ...]

    @property
    def taken(self) -> list[str]:
        """The passes that samples come from, in the order in which they come."""
        return list(
            dict.fromkeys(
                name
                for span in self.spans
                for name in (span.pass_name, *(filled.pass_name for filled in span.filled))
                if name is not None
            )
        )

    @property
    def woven(self) -> list[tuple[RecordedSpan, RecordedFilled]]:
        """What of it is filled from other passes, with the spans that it belongs to."""
        return [(span, filled) for span in self.spans for filled in span.filled]
