"""A pass as the record has it."""

# pydantic reads the annotations while the program runs: no postponed evaluation in this module.
import math
from typing import Annotated, Literal

from pydantic import Field

from assembler.record.recorded.base import Count, Digest, Recorded, RecordedBecause


class RecordedFile(Recorded):
    """A capture file; no digest where it was not computed."""

    path: str
    sha256: Digest | None
    samples: Count


class RecordedLog(Recorded):
    """A timecode log; no digest where it was not computed."""

    path: str
    sha256: Digest | None


class RecordedStretch(Recorded):
    """A part of a pass that lies on the timeline in one piece."""

    pass_start: int
    pass_end: int
    timeline_start: int


class RecordedClockStretch(Recorded):
    """A part of a log over which nothing was lost or repeated; log times in seconds."""

    log_start: float
    log_end: float
    shift_samples: float
    uncertainty_samples: float = 0.0
    apart_samples: float = 0.0
    points: int = 0


class RecordedResidual(Recorded):
    """From where to where messages in a row miss the place that the log as a whole gives, in samples."""

    sample: int
    low: float
    high: float


class RecordedClock(Recorded):
    """What puts a pass in its place, and how surely."""

    source: str = ""
    uncertainty_samples: float = 0.0
    common_samples: float = 0.0
    apart_samples: float | None = None
    rate_ratio: float = 1.0
    verdict: str = ""
    stretches: tuple[RecordedClockStretch, ...] = ()
    # Records of earlier versions have none.
    residuals: tuple[RecordedResidual, ...] = ()

    @property
    def whole_uncertainty_samples(self) -> float:
        """How far off the place may be, one standard deviation, with what no log can say taken in."""
        return math.hypot(self.uncertainty_samples, self.common_samples)


class RecordedFlaw(Recorded):
    """A flaw of a pass, in its samples; of a slip, how many samples were lost or repeated."""

    kind: str
    start: int
    end: int
    tracks: tuple[Count, ...]
    is_cured: Annotated[bool, Field(alias="cured")]
    samples: int | None = None
    # Records of earlier versions have none.
    because: RecordedBecause | None = None


class RecordedPass(Recorded):
    """A pass: its files, where each tape track lies in them, its place and its flaws."""

    name: str
    reel: str
    files: tuple[RecordedFile, ...]
    log: RecordedLog | None = None
    channels: tuple[tuple[Count, Count], ...]
    polarity: tuple[Literal[1, -1], ...]
    used: bool = True
    stretches: tuple[RecordedStretch, ...] = ()
    clock: RecordedClock = RecordedClock()
    flaws: tuple[RecordedFlaw, ...] = ()

    def stretch_at(self, sample: int) -> RecordedStretch | None:
        """Return the last stretch that reaches a sample of the pass; None where the pass has no place."""
        held = [one for one in self.stretches if one.pass_start <= sample <= one.pass_end]
        return held[-1] if held else None
