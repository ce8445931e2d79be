"""The edit: which samples of which pass make up each delivered track, and how they are joined.

Positions count from the set's first sample unless said otherwise. These records are all that rendering needs,
and all that a later check needs to compute every sample again.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assembler.aligner.records.ranges import merged
from assembler.aligner.records.runs import extent_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.aligner.records.because import Because
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import TapeWord
    from assembler.aligner.records.runs import Run
    from assembler.aligner.records.timemap import TimeMap
    from assembler.importer import ImportedPass
    from assembler.verdict.notes import Held, Note
    from assembler.verdict.signed import Acceptance, UnrecordedStretch
    from assembler.verdict.states import Suspect, TrackStates

IDENTICAL = "identical"
"""Both sides are the same numbers around the join: it can't be heard because it can't be found."""
CONSTANT_POWER = "constant_power"
"""A fade whose gains follow the measured correlation."""
CUT = "cut"
"""One side ends where the other begins: no common good sample to prove or fade by, or no fade is wished for."""
SLIP = "slip"
"""The same pass goes on after samples it lost or repeated."""
EDGE = "edge"
"""Sound begins or ends beside silence that no pass covers."""


@dataclass(frozen=True)
class Filled:
    """Samples of one woven stretch that a span has from another pass than its own.

    Args:
        pass_name: the other pass.
        pass_start: its sample that lies at the span's start; below 0 where it begins after that.
        at: the samples, as runs ``(first, step, count)`` from the span's start. Where the span is heard beyond its
            ends, in a fade, they may lie there too.
    """

    pass_name: str
    pass_start: int
    at: tuple[Run, ...]


@dataclass(frozen=True)
class Span:
    """A stretch of a delivered track and where it comes from; ``pass_name`` None is silence.

    ``filled`` is what of it comes from other passes: no sample twice.
    """

    start: int
    end: int
    pass_name: str | None
    pass_start: int = 0
    filled: tuple[Filled, ...] = ()


@dataclass(frozen=True)
class Join:
    """The border of two spans.

    Args:
        at: first sample of the second span.
        fade: samples that the fade takes, from ``at - fade // 2`` on; 0 for none.
        law: one of the names above.
        correlation: of the two sides where they were compared, else 0.
        difference_peak: largest difference of the two sides there, in delivered sample values.
    """

    at: int
    fade: int
    law: str
    correlation: float
    difference_peak: int


@dataclass(frozen=True)
class DeliveredTrack:
    """One track of the set.

    Args:
        number: its place on the tapes in sheet order, unused places counted, from 1.
        name: as the sheet has it.
        tape_tracks: for each reel that holds it, its place on that tape, from 0.
    """

    number: int
    name: str
    tape_tracks: Mapping[str, int]


@dataclass(frozen=True)
class TrackEdit:
    """One delivered track: its spans in order without gaps, and a join for each border between them."""

    track: DeliveredTrack
    spans: tuple[Span, ...]
    joins: tuple[Join, ...]

    @property
    def woven(self) -> list[Range]:
        """The stretches that are woven of several passes, from the first sample filled to the last."""
        extents = ((span, extent_of(filled.at)) for span in self.spans for filled in span.filled)
        return merged((span.start + low, span.start + high) for span, (low, high) in extents)


@dataclass(frozen=True)
class PassFlaw:
    """A flaw of a pass, in samples of that pass.

    Args:
        kind: one of the record's kinds.
        start: first pass sample.
        end: first one after it; a slip has ``end`` equal to ``start``.
        tracks: tape tracks from 0.
        cured: whether what the set has there is known to be right: from other passes, and not undecided.
        samples: for a slip, how many were lost (positive) or repeated (negative).
        because: the rule that decided; of several tracks the strongest.
    """

    kind: str
    start: int
    end: int
    tracks: tuple[int, ...]
    cured: bool
    samples: int | None = None
    because: Because = field(kw_only=True)


@dataclass(frozen=True)
class AlignedPass:
    """One pass as it takes part in the set.

    Args:
        imported: the pass as it was read.
        time_map: where its samples lie; None when it is refused.
        flaws: what it does not hold right.
        idle: timeline ranges at its ends where it is silent since nothing was played.
    """

    imported: ImportedPass
    time_map: TimeMap | None
    flaws: tuple[PassFlaw, ...]
    idle: tuple[Range, ...] = ()


@dataclass(frozen=True)
class Uncured:
    """A place of the set where no pass has what the tape holds, and what each pass of the reel has there.

    ``accepted`` is a person's word that it may stand.
    """

    reel: str
    track: DeliveredTrack
    start: int
    end: int
    kind: str
    held: tuple[Held, ...] = ()
    accepted: Acceptance | None = None


@dataclass(frozen=True, repr=False)
class Edit:
    """Everything that is decided about a session before a byte is written.

    Args:
        start_sample: timeline sample of the set's first sample.
        length: samples in every delivered track.
        passes: in the order of the sheet.
        tracks: in the order of their numbers.
        uncured: in order of track and place.
        notes: corrections and findings.
        words: word length of each reel, by its name.
        states: what is known of every stretch of each reel's tracks, by the reel's name.
        suspects: places to listen to, likeliest first.
        accepted: what a person lets stand, in the order of the sheet.
        unrecorded: what was never recorded, in the order of the sheet.
    """

    start_sample: int
    length: int
    passes: tuple[AlignedPass, ...]
    tracks: tuple[TrackEdit, ...]
    uncured: tuple[Uncured, ...]
    notes: tuple[Note, ...]
    words: Mapping[str, TapeWord]
    states: Mapping[str, tuple[TrackStates, ...]] = field(default_factory=dict)
    suspects: tuple[Suspect, ...] = ()
    accepted: tuple[Acceptance, ...] = ()
    unrecorded: tuple[UnrecordedStretch, ...] = ()

    def __repr__(self) -> str:
        """Return the edit in a line: shown whole it would fill pages."""
        counts = f"{len(self.tracks)} tracks of {self.length} samples, {len(self.passes)} passes"
        left = f"{len(self.uncured)} uncured places, {len(self.notes)} notes"
        return f"<Edit: {counts}, {left}; {'in order' if self.is_sound else 'needs a person'}>"

    @property
    def is_sound(self) -> bool:
        """Whether nothing is left that a person has to look at."""
        is_open = any(place.accepted is None for place in self.uncured)
        return not is_open and not any(note.needs_a_person for note in self.notes)
