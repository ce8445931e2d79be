"""The whole record."""

# pydantic reads the annotations while the program runs: no postponed evaluation in this module.
from collections.abc import Mapping
from functools import cached_property
from typing import Annotated, Literal

from pydantic import Field

from assembler.record.recorded.base import Count, Recorded, RecordedBecause
from assembler.record.recorded.marked import MarkedPlace, marked_on_tracks
from assembler.record.recorded.passes import RecordedPass
from assembler.record.recorded.tracks import MOST_REELS, RecordedTrack
from assembler.verdict.states import State, StateStretch, TrackStates, worst_of


class RecordedSession(Recorded):
    """What holds for the whole set."""

    title: str
    sample_rate: Annotated[int, Field(ge=8000, le=192_000)]
    bit_depth: Literal[16, 20, 24]
    frame_rate: Literal["24", "25", "29.97", "29.97df", "30"]
    word_length: Literal[16, 24]
    date: str = ""
    originator: str = ""
    reference: str = ""
    description: str = ""


class RecordedStart(Recorded):
    """Where the set begins."""

    timecode: str
    sample: Count


class RecordedStateStretch(Recorded):
    """A stretch of a track in one state; timeline samples."""

    start: Count
    end: Count
    state: State


class RecordedStates(Recorded):
    """What is known of every stretch of a tape track."""

    track: Count
    stretches: tuple[RecordedStateStretch, ...]


class RecordedReel(Recorded):
    """A tape: its tracks in tape order, and the transfer notes of the sheet."""

    name: str
    tracks: tuple[str, ...]
    prepared: Mapping[str, str | int | float | bool] = Field(default_factory=dict)
    # Records of earlier versions have no word length of a reel, and no states.
    bit_depth: Literal[16, 20, 24] | None = None
    states: tuple[RecordedStates, ...] = ()

    def worst_states(self) -> tuple[StateStretch, ...]:
        """Return the stretches of the whole tape, each in the worst state of its tracks."""
        return worst_of(
            TrackStates(one.track, tuple(StateStretch(s.start, s.end, s.state) for s in one.stretches))
            for one in self.states
        )


class RecordedHeld(Recorded):
    """What a pass has at a place that no pass is known to have right."""

    pass_name: Annotated[str, Field(alias="pass")]
    kind: str
    text: str
    is_taken: Annotated[bool, Field(alias="taken")]


class RecordedWord(Recorded):
    """A person's word that a place may stand."""

    by: str
    reason: str


class RecordedNote(Recorded):
    """A correction or a finding, with its place in samples of the pass; ``accepted`` where a person lets it stand."""

    kind: str
    text: str
    needs_a_person: bool
    pass_name: Annotated[str | None, Field(alias="pass")] = None
    tracks: tuple[Count, ...] = ()
    start: int | None = None
    end: int | None = None
    held: Annotated[tuple[RecordedHeld, ...], Field(alias="passes")] = ()
    accepted: RecordedWord | None = None
    theme: str = ""
    count: int | None = None
    because: RecordedBecause | None = None


class RecordedUncured(Recorded):
    """A place that no pass has right; ``accepted`` where a person lets it stand."""

    reel: str
    track: str
    start: Count
    end: Count
    kind: str
    held: Annotated[tuple[RecordedHeld, ...], Field(alias="passes")] = ()
    accepted: RecordedWord | None = None


class RecordedAccepted(RecordedWord):
    """A stretch of a reel that a person lets stand, taken from a pass if one is named."""

    reel: str
    take: str | None = None


class RecordedSet(Recorded):
    """The whole record."""

    format: int
    program: str
    session: RecordedSession
    start: RecordedStart
    length: Count
    reels: Annotated[tuple[RecordedReel, ...], Field(max_length=MOST_REELS)]
    passes: tuple[RecordedPass, ...]
    tracks: tuple[RecordedTrack, ...]
    uncured: tuple[RecordedUncured, ...]
    # Records of earlier versions have none.
    accepted: tuple[RecordedAccepted, ...] = ()
    notes: tuple[RecordedNote, ...] = ()
    is_sound: Annotated[bool, Field(alias="sound")] = False

    def __repr__(self) -> str:
        """Return the record in a line: shown whole it would fill pages."""
        counts = f"{len(self.tracks)} tracks of {self.length} samples, {len(self.passes)} passes"
        return f"<RecordedSet {self.session.title!r}: {counts}, {len(self.uncured)} uncured places>"

    def pass_named(self, name: str) -> RecordedPass:
        """Return a pass that the spans name."""
        return self._passes[name]

    def tape_track(self, track: RecordedTrack, reel: str) -> int:
        """Return the place of a track on a reel, from 0."""
        return self._places[reel][track.name]

    def marked_on(self, track: RecordedTrack) -> list[MarkedPlace]:
        """Return the places of a track that no pass has right or that nothing could decide."""
        return self._marked.get(track.name, [])

    def range_in_set(self, one: RecordedPass, start: int, end: int) -> tuple[int, int] | None:
        """Return where a flaw of a pass lies in the set, cut to it; None where it lies outside.

        Args:
            one: the pass.
            start: the flaw's first sample, of the pass.
            end: its first one after it; equal to ``start`` for a slip.
        """
        # What begins where the pass has no place may reach into where it has one.
        held = one.stretch_at(start) or next((s for s in one.stretches if start < s.pass_start < end), None)
        if held is None:
            return None
        first, shift = max(start, held.pass_start), held.timeline_start - held.pass_start
        low, high = (at + shift - self.start.sample for at in (first, end))
        if low >= self.length or max(high, low + 1) <= 0:
            return None
        return max(0, low), min(self.length, high)

    @cached_property
    def _marked(self) -> dict[str, list[MarkedPlace]]:
        return marked_on_tracks(self)

    @cached_property
    def _passes(self) -> dict[str, RecordedPass]:
        return {one.name: one for one in self.passes}

    @cached_property
    def _places(self) -> dict[str, dict[str, int]]:
        return {
            reel.name: {name: place for place, name in reversed(list(enumerate(reel.tracks)))}
            for reel in self.reels
        }
