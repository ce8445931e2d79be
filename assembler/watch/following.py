"""One pass followed from its first sample to its end: what is new in it each time it is looked at.

What is reported of it is reported in order: its timecode, how long it is, its tracks, its flaws.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assembler.errors import WaveError
from assembler.timecode import format_sample, frame_rate
from assembler.watch.captures.growing import GrowingWave, audio_of
from assembler.watch.clock import GrowingClock
from assembler.watch.events import Event, tracks_words
from assembler.watch.saying import flaw_words, recording_event, taken_back_event
from assembler.watch.sound.beside import Place
from assembler.watch.sound.examining import Examined, examine
from assembler.watch.sound.levels import levels_of
from assembler.watch.sound.scales import TapeScale
from assembler.watch.sound.silences import Silences
from assembler.watch.sound.told import START_REACH, ToldFlaws, ToldTracks
from assembler.watch.sound.windows import EDGE, Windows

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.records.ranges import Range
    from assembler.importer import PassAudio
    from assembler.sheet import Pass, Reel, Sheet
    from assembler.watch.captures.scanning import Found
    from assembler.watch.sound.beside import Witness
    from assembler.watch.sound.examining import Scales, Seen

DEAD_SECONDS: Final = 3.0
"""A track of zeros is reported after so much sound of the others, and two tracks that are alike."""

WORDS_OF_TRACKS: Final = {"dead": "nothing but zeros so far", "alike": "the same numbers as each other"}


@dataclass
class Follower:
    """A pass that is being recorded.

    Args:
        name: of the pass.
        capture: its files.
        sheet: for rates, and where the pass's timecode is.
        one: the pass.
        reel: its tape.
        started: when it was first seen, by a clock that never goes back.
    """

    name: str
    capture: Found
    sheet: Sheet
    one: Pass
    reel: Reel
    started: float
    clock: GrowingClock = field(default_factory=GrowingClock)
    grew_at: float = 0.0
    files: list[GrowingWave] = field(default_factory=list)
    _windows: Windows = field(default_factory=lambda: Windows(0))
    _heard_shift: int | None = None
    _levels: Sequence[float | None] = ()
    _is_stalled: bool = False
    _scale: TapeScale = field(default_factory=lambda: TapeScale(0))
    _silences: Silences = field(default_factory=Silences)
    _flaws: ToldFlaws = field(default_factory=ToldFlaws)
    _tracks: ToldTracks = field(default_factory=lambda: ToldTracks(0))

    def __post_init__(self) -> None:
        """Open the capture's files.

        Raises:
            WaveError: one of them cannot be read.
        """
        self.grew_at = self.started
        self._windows.rate = self.rate
        self._tracks.least = round(DEAD_SECONDS * self.rate)
        try:
            for path in self.capture.paths:
                self.files.append(GrowingWave(path))
        except WaveError:
            self.close()
            raise

    def close(self) -> None:
        """Close the files."""
        for file in self.files:
            file.close()

    @property
    def rate(self) -> int:
        """Samples in a second, as the sheet says."""
        return self.sheet.session.sample_rate

    @property
    def length(self) -> int:
        """Samples that all tracks hold by now."""
        return min(file.info.frames for file in self.files)

    @property
    def seen(self) -> int:
        """Samples that have been looked at."""
        return self._windows.seen

    @property
    def is_final(self) -> bool:
        """Whether the headers of all files say what these hold."""
        return all(file.is_final for file in self.files)

    def refresh(self, now: float) -> None:
        """Look at the files again.

        Raises:
            WaveError: one of them has become shorter, or cannot be read any more.
        """
        for file in self.files:
            if file.refresh():
                self.grew_at = now

    def label(self, at: int) -> str | None:
        """Return the timecode of a sample; None where it is not known."""
        shift = self._heard_shift
        if shift is None:
            if self.clock.position is None:
                return None
            shift = self.clock.position.shift_at(at)
        sample = at + shift
        return (
            format_sample(sample, frame_rate(self.sheet.session.frame_rate), self.rate)
            if sample >= 0
            else None
        )

    def news(
        self, now: float, witnesses: Sequence[Witness], executor: Executor, *, is_last: bool = False
    ) -> Iterator[Event]:
        """Yield what is new: of the log, and of one window of sound if enough has gathered.

        Args:
            now: by the clock of ``started``.
            witnesses: finished passes of the same reel.
            executor: runs tracks side by side.
            is_last: whether nothing more will come.
        """
        new = self._windows.due(self.length, is_last=is_last)
        if new is None and not is_last and self.length == self.seen and self.clock.is_lost:
            return
        audio = audio_of(self.files, self.sheet.deliver.word_length)
        self.clock.follow(self.sheet, self.one, self.reel, audio, now)
        yield from self._clock_news()
        if new is None:
            return
        scales = self._scales(audio)
        dead = list(self._dead_news(audio, new))
        sounding = [
            track for track, name in enumerate(self.reel.tracks) if name and track in self._tracks.sounding
        ]
        # A slip ends what can be held against another pass at one shift.
        unbroken = max((at for at in self._flaws.slips if at <= self.seen), default=0)
        starts = self._windows.starts(audio, new, sounding, unbroken)
        found = Examined(())
        if starts and new[1] - min(starts.values()) > 4 * EDGE:
            found = examine(audio, starts, new[1], self._silences, self._place(), witnesses, scales, executor)
        told = list(self._sound_news(found, starts, new))
        self._levels = levels_of(audio, max(0, new[1] - self.rate), new[1], scales.full_scale)
        self._is_stalled = False
        yield self.recording()
        yield from [*dead, *told]

    def stall(self) -> bool:
        """Note that no sound comes any more; return whether that is new."""
        was, self._is_stalled = self._is_stalled, True
        return not was

    def recording(self, kind: str = "") -> Event:
        """Return how much is recorded by now; ``kind`` is "stalled" where no sound comes."""
        return recording_event(self.name, self.seen, self.rate, self._levels, self.label(self.seen), kind)

    def ended(self, why: str) -> Event:
        """Return that the pass has ended, and how."""
        more = {"samples": self.seen, "seconds": round(self.seen / self.rate, 3)}
        return Event("ended", self.name, why, timecode=self.label(self.seen), more=more)

    def leftover(self, kind: str, start: int, end: int, tracks: Sequence[int]) -> list[int]:
        """Return the tracks of a flaw, found later by a check, on which it has not been reported."""
        if kind == "slip":
            return [] if self._flaws.has_slip(start) else list(tracks)
        told = self._tracks.dead
        return [track for track in tracks if track not in told and not self._flaws.has(track, (start, end))]

    def flaw(self, kind: str, start: int, end: int, tracks: Sequence[int], more: dict[str, object]) -> Event:
        """Return a flaw as an event."""
        words = flaw_words(kind, end - start, self.rate, tracks, self.reel.tracks, more)
        return Event("flaw", self.name, words, kind, start, end, tuple(tracks), self.label(start), more)

    def _scales(self, audio: PassAudio) -> Scales:
        self._scale.rate = self.rate
        said = self.reel.bit_depth or self.sheet.session.bit_depth
        return self._scale.of(audio, self.sheet.deliver.word_length, said)

    def _place(self) -> Place | None:
        position = self.clock.position
        if self._heard_shift is not None:
            return Place(self._heard_shift, 0.0, is_heard=True)
        if position is None:
            return None
        common = 0.0 if position.clock is None else position.clock.common_samples
        shift = position.shift_at(self.seen)
        return Place(shift, 6.0 * position.uncertainty_samples + common, is_heard=False)

    def _clock_news(self) -> Iterator[Event]:
        for kind, start, words in self.clock.news(self.length, self.rate):
            label = None if kind == "none" else self.label(start)
            yield Event("timecode", self.name, words, kind, start, self.length, (), label)

    def _dead_news(self, audio: PassAudio, window: Range) -> Iterator[Event]:
        used = [track for track, name in enumerate(self.reel.tracks) if name]
        for kind, start, tracks in self._tracks.news(audio, window, used):
            words = f"{WORDS_OF_TRACKS[kind]}: {tracks_words(tracks, self.reel.tracks)}"
            label = self.label(start)
            yield Event("dead_track", self.name, words, kind, start, window[1], tracks, label)

    def _sound_news(self, found: Examined, starts: Mapping[int, int], new: Range) -> Iterator[Event]:
        if found.shift is not None:
            self._heard_shift = found.shift
        high = new[1] - EDGE
        inside = [flaw for flaw in found.flaws if flaw.start >= starts[flaw.track] + EDGE]
        going_on = [flaw for flaw in inside if flaw.end > high]
        self._windows.looked(new, starts, {flaw.track: flaw.start for flaw in reversed(going_on)})
        for at, samples in found.slips:
            if self._flaws.add_slip(at):
                yield self.flaw("slip", at, at, range(len(self.reel.tracks)), {"samples": samples})
        whole = [flaw for flaw in inside if flaw.end <= high or self._is_long(flaw, new[1])]
        for kind, place, tracks, goes_on in self._flaws.fresh(whole, high):
            more: dict[str, object] = {"goes_on": True} if goes_on else {}
            if self._flaws.may_be_played(kind, tracks, place):
                more["may_be_played"] = True
            yield self.flaw(kind, *place, tracks, more)
        self._flaws.take_back({track: self._silences.rests(track) for track in self._flaws.silent_tracks})
        for kind, of, places in self._flaws.taken_back():
            yield taken_back_event(self.name, kind, places, of, self.reel.tracks, self.label(places[0][0]))

    def _is_long(self, flaw: Seen, end: int) -> bool:
        """Return whether what is seen of a flaw that goes on is enough to be reported."""
        return flaw.end > end - START_REACH and flaw.end - flaw.start >= self.rate
