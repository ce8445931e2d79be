"""What is known of one reel: its passes in their places, and what comparing them has shown; its places in words."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from assembler.aligner.records.ranges import without
from assembler.timecode import format_place, format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

    from assembler.aligner.place.wiring.wire import WiredReel
    from assembler.aligner.records.findings import ReelFindings
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.timemap import TimeMap
    from assembler.sheet import Reel, Sheet
    from assembler.verdict.notes import Note, NoteKind


@dataclass(frozen=True)
class TapeWord:
    """Word length of a tape, in bits, and what tells it.

    Args:
        said: by the sheet.
        bit_depth: the tape's: what its passes use where that is less than the sheet says, or else that.
        bits_in_use: from the sign down, by its passes, where they keep to one word length; None where nothing tells.
        compared_bits: whose step passes are compared by: also where they use more than the sheet says.
    """

    said: int
    bit_depth: int
    bits_in_use: int | None
    compared_bits: int

    @property
    def is_as_said(self) -> bool:
        """Return whether sheet and passes say the same."""
        return self.bit_depth == self.said >= self.compared_bits


@dataclass(frozen=True)
class ExaminedReel:
    """What is known of one reel.

    Args:
        reel: as the sheet has it.
        wired: its passes, put right where that was asked for.
        maps: time map of each pass that is used.
        groups: passes with one value hold identical samples wherever both are good.
        passes: the passes that are used, with a time map for each track.
        findings: what comparing them has shown; nothing before ``compare_passes``.
        notes: corrections and findings on the way.
        word: of the tape.
        idle: of each pass that has any, where it is silent at an end since nothing was played.
        unrecorded: by tape track, timeline ranges that were never recorded, in order.
        margin: what sticks out of such a range by fewer samples belongs to it: a frame, as a sheet names no less.
    """

    reel: Reel
    wired: WiredReel
    maps: Mapping[str, TimeMap]
    groups: Mapping[str, tuple[str, int]]
    passes: tuple[PlacedPass, ...]
    findings: ReelFindings
    notes: tuple[Note, ...]
    word: TapeWord
    idle: Mapping[str, tuple[Range, ...]] = field(default_factory=dict)
    unrecorded: Mapping[int, Sequence[Range]] = field(default_factory=dict)
    margin: int = 0

    @property
    def name(self) -> str:
        """The reel's name."""
        return self.reel.name

    @property
    def named_tracks(self) -> tuple[int, ...]:
        """Tape tracks, from 0, that the sheet has a name for."""
        return tuple(track for track, name in enumerate(self.reel.tracks) if name)

    def recorded(self, track: int, start: int, end: int) -> list[Range]:
        """Return what of a place on a tape track was recorded, as far as the sheet says otherwise."""
        holes = self.unrecorded.get(track, ())
        pieces = without([(start, end)], holes)
        return [one for one in pieces if one == (start, end) or one[1] - one[0] >= self.margin]

    def moved(self, samples: int) -> ExaminedReel:
        """Return the reel, not compared yet, ``samples`` later on the timeline."""
        return replace(
            self,
            maps={name: time_map.moved(samples) for name, time_map in self.maps.items()},
            passes=tuple(
                replace(one, maps=tuple(time_map.moved(samples) for time_map in one.maps))
                for one in self.passes
            ),
        )


def timecode_label(sheet: Sheet) -> Callable[[int], str]:
    """Return a function that writes a timeline sample as the label of its frame."""
    rate = frame_rate(sheet.session.frame_rate)
    return lambda sample: format_sample(sample, rate, sheet.session.sample_rate)


def place_label(sheet: Sheet) -> Callable[[int], str]:
    """Return a function that writes a timeline sample as timecode and samples into the frame."""
    rate = frame_rate(sheet.session.frame_rate)
    return lambda sample: format_place(sample, rate, sheet.session.sample_rate)


def stretch_label(sheet: Sheet) -> Callable[[int, int], str]:
    """Return a function that writes a timeline range as its timecode in and out, to the sample."""
    place = place_label(sheet)
    return lambda start, end: f"{place(start)} to {place(end)}"


def track_names(reel: Reel, tracks: Iterable[int]) -> str:
    """Return the names of tape tracks, counted from 0, in one line; unused ones by their number."""
    return ", ".join(reel.tracks[track] or f"track {track + 1}" for track in tracks)


def left_out_kind(tracks: Collection[int], reel: Reel) -> NoteKind:
    """Return what tracks of a pass are called that are not used: a refused retake only where none is left."""
    named = {track for track, name in enumerate(reel.tracks) if name}
    return "retake_refused" if named <= set(tracks) else "track_left_out"
