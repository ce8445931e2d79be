"""What of one track is shown, and the passes that it is read from, short ranges at a time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner import TimeMap
from assembler.aligner.records.ranges import merged, without
from assembler.consolidator.viewing.tracing import Sound

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner import AlignedPass, Edit, TrackEdit
    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet

    Heard = Sequence[tuple[int, Int32s]]


@dataclass(frozen=True)
class PassSource:
    """One pass of a track.

    Args:
        name: of the pass.
        reader: its audio.
        tape_track: the track's place on the tape.
        time_map: where its samples lie, in samples of the set; as far as the track reaches.
        flawed: ranges of the set in which it does not hold the tape's sound, in order.
    """

    name: str
    reader: TrackReader
    tape_track: int
    time_map: TimeMap
    flawed: tuple[Range, ...]

    def sound(self, start: int, end: int, heard: Heard) -> Sound:
        """Return the samples of a range of the set.

        Args:
            start: first sample.
            end: first one after it.
            heard: what was read of the pass a moment ago: pass sample and what follows from there on. Only what is
                not among it is read.

        Raises:
            CaptureError: a capture cannot be read.
        """
        pieces = self.time_map.covering(start, end)
        if len(pieces) == 1 and pieces[0].timeline_end - pieces[0].timeline_start == end - start:
            return Sound(self.name, self._samples(pieces[0].pass_start, pieces[0].pass_end, heard), None)
        samples, held = np.zeros(end - start, np.int32), np.zeros(end - start, bool)
        for piece in pieces:
            place = slice(piece.timeline_start - start, piece.timeline_end - start)
            samples[place] = self._samples(piece.pass_start, piece.pass_end, heard)
            held[place] = True
        return Sound(self.name, samples, held)

    def _samples(self, start: int, end: int, heard: Heard) -> Int32s:
        out = np.empty(end - start, np.int32)
        missing = [(start, end)]
        for first, samples in heard:
            low, high = max(start, first), min(end, first + samples.size)
            if low < high:
                out[low - start : high - start] = samples[low - first : high - first]
                missing = without(missing, [(low, high)])
        for low, high in missing:
            out[low - start : high - start] = self.reader.read(self.tape_track, low, high - low)
        return out


@dataclass(frozen=True)
class TrackSources:
    """What is shown of one track.

    Args:
        passes: those that hold it, in the order of trust.
        doubtful: ranges of the set in which nobody has it right or nothing was decided, in order.
        length: samples of the set.
        sample_rate: samples in a second.
        word_length: bits of a delivered sample.
    """

    passes: tuple[PassSource, ...]
    doubtful: tuple[Range, ...]
    length: int
    sample_rate: int
    word_length: int

    @property
    def covered(self) -> list[Range]:
        """The ranges that passes hold, one for each piece of a pass."""
        return [(s.timeline_start, s.timeline_end) for one in self.passes for s in one.time_map.stretches]


def track_sources(record: RecordedSet, edit: Edit, track: TrackEdit, planned: RecordedTrack) -> TrackSources:
    """Return what is shown of one track.

    Args:
        record: the set as it is planned.
        edit: the same as it was decided.
        track: of the edit.
        planned: the same of the record.
    """
    places = track.track.tape_tracks
    return TrackSources(
        passes=tuple(
            _source(edit, one, places[one.imported.reel])
            for one in edit.passes
            if _is_shown(edit, one, places.get(one.imported.reel))
        ),
        doubtful=tuple(merged((one.start, one.end) for one in record.marked_on(planned))),
        length=edit.length,
        sample_rate=record.session.sample_rate,
        word_length=record.session.word_length,
    )


def _is_shown(edit: Edit, one: AlignedPass, tape_track: int | None) -> bool:
    """Return whether a pass takes part in a track: where it is left out it is as if it had never held it."""
    if tape_track is None or one.time_map is None:
        return False
    return not any(
        note.pass_name == one.imported.name and tape_track in note.tracks and note.start is None
        for note in edit.notes
        if note.kind in {"track_left_out", "retake_refused", "accepted"}
    )


def _source(edit: Edit, one: AlignedPass, tape_track: int) -> PassSource:
    audio = one.imported.audio
    whole = TimeMap(()) if one.time_map is None else one.time_map.moved(-edit.start_sample)
    return PassSource(
        name=one.imported.name,
        reader=audio,
        tape_track=tape_track,
        time_map=whole.cut_to(audio.track_lengths[tape_track]),
        flawed=tuple(merged(_flawed(one, whole, tape_track))),
    )


def _flawed(one: AlignedPass, whole: TimeMap, tape_track: int) -> Iterable[Range]:
    for flaw in one.flaws:
        if tape_track in flaw.tracks:
            yield from whole.timeline_ranges(flaw.start, flaw.end)
