"""One pass followed from its first sample to its end: what is new in it each time it is looked at.

Sound is looked at in windows that overlap, so that whatever lies across the border of two is seen whole in one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from assembler.aligner.compare.limits import LONE_MARGIN
from assembler.aligner.events.limits import AROUND_SAMPLES
from assembler.aligner.sound.scale import bits_used, smallest_word
from assembler.errors import WaveError
from assembler.importer import PassAudio
from assembler.timecode import format_sample, frame_rate
from assembler.watch.captures.growing import GrowingWave
from assembler.watch.clock import GrowingClock
from assembler.watch.events import WORDS_OF_KIND, Event, length_words, tracks_words
from assembler.watch.examining import Place, Scales, examine, levels_of
from assembler.watch.told import START_REACH, ToldFlaws, ToldTracks

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s
    from assembler.sheet import Pass, Reel, Sheet
    from assembler.watch.captures.scanning import Found
    from assembler.watch.examining import Examined, Witness

STEP_SECONDS: Final = 1.0
"""So much new sound is looked at at once; while more has gathered, up to the longest."""

LONGEST_SECONDS: Final = 10.0
"""Sound looked at at once where much has gathered, and the longest standstill that is seen whole."""

EDGE: Final = AROUND_SAMPLES + 64
"""What lies so near to the border of a window is left to the next one."""

OVERLAP: Final = LONE_MARGIN + 2 * EDGE
"""Samples of the window before that are looked at again."""

STILL_SECONDS: Final = 0.5
"""So much more is looked at again where a track stands still at the end of a window; where all do, the longest."""

DEAD_SECONDS: Final = 3.0
"""A track of zeros is told after so much sound of the others, and two tracks that are alike."""

LEAST_WORD_SECONDS: Final = 2.0
"""Sound by which a tape's word length is measured first."""

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
    seen: int = 0
    files: list[GrowingWave] = field(default_factory=list)
    _keep: int = 0
    _heard_shift: int | None = None
    _word: int = 0
    _word_until: float = 0.0
    _flaws: ToldFlaws = field(default_factory=ToldFlaws)
    _tracks: ToldTracks = field(default_factory=lambda: ToldTracks(0))

    def __post_init__(self) -> None:
        """Open the capture's files.

        Raises:
            WaveError: one of them cannot be read.
        """
        self.grew_at = self.started
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
        window = self._window(is_last=is_last)
        if window is None and not is_last and self.length == self.seen and self.clock.is_lost:
            return
        audio = self._audio()
        self.clock.follow(self.sheet, self.one, self.reel, audio, now)
        yield from self._clock_news()
        if window is None:
            return
        scales = self._scales(audio)
        self.seen = window[1]
        levels = levels_of(audio, max(window[0], window[1] - self.rate), window[1], scales.full_scale)
        yield self._recording(levels)
        yield from self._dead_news(audio, window)
        tracks = [
            track for track, name in enumerate(self.reel.tracks) if name and track in self._tracks.sounding
        ]
        if tracks and window[1] - window[0] > 4 * EDGE:
            found = examine(audio, window, tracks, self._place(), witnesses, scales, executor)
            yield from self._sound_news(found, window)
            self._keep_still(audio, window, tracks)

    def leftover(self, kind: str, start: int, end: int, tracks: Sequence[int]) -> list[int]:
        """Return the tracks of a flaw, found later by a check, on which it has not been told."""
        if kind == "slip":
            return [] if self._flaws.has_slip(start) else list(tracks)
        return [track for track in tracks if not self._flaws.has(track, (start, end))]

    def flaw(self, kind: str, start: int, end: int, tracks: Sequence[int], more: dict[str, object]) -> Event:
        """Return a flaw as an event."""
        words = WORDS_OF_KIND.get(kind, kind)
        if kind == "slip":
            samples = int(str(more.get("samples", 0)))
            words += f" of {abs(samples)} samples {'lost' if samples > 0 else 'repeated'}"
        else:
            goes_on = " and going on" if more.get("goes_on") else ""
            words += (
                f", {length_words(end - start, self.rate)}{goes_on}, {tracks_words(tracks, self.reel.tracks)}"
            )
        label = self.label(start)
        return Event("flaw", self.name, words, kind, start, end, tuple(tracks), label, more)

    def _audio(self) -> PassAudio:
        channels = [
            (number, channel)
            for number, file in enumerate(self.files)
            for channel in range(file.info.format.channels)
        ]
        return PassAudio(self.files, channels, self.sheet.deliver.word_length)

    def _window(self, *, is_last: bool) -> Range | None:
        """Return what is to be looked at next; None while too little is new."""
        length = self.length
        new = length - self.seen
        if new <= 0 or (new < STEP_SECONDS * self.rate and not is_last):
            return None
        longest = round(LONGEST_SECONDS * self.rate)
        end = min(length, self.seen + longest)
        start = min(max(0, self.seen - OVERLAP), max(self._keep, self.seen - longest))
        # A slip ends what can be held against another pass at one shift.
        behind = max((at for at in self._flaws.slips if at <= self.seen), default=0)
        return max(start, behind), end

    def _scales(self, audio: PassAudio) -> Scales:
        bits = self.sheet.deliver.word_length
        said = self.reel.bit_depth or self.sheet.session.bit_depth
        seconds = audio.length / self.rate
        if seconds >= max(LEAST_WORD_SECONDS, self._word_until):
            self._word_until = 4.0 * seconds if seconds < 60 else float("inf")
            used = bits_used(audio, range(audio.tracks), bits)
            self._word = 0 if used is None else min(bits, smallest_word(used))
        word = self._word or min(bits, said)
        return Scales(self.rate, 1 << (bits - word), (1 << (bits - 1)) - 1)

    def _place(self) -> Place | None:
        position = self.clock.position
        if self._heard_shift is not None:
            return Place(self._heard_shift, 0.0, is_heard=True)
        if position is None:
            return None
        common = 0.0 if position.clock is None else position.clock.common_samples
        shift = position.shift_at(self.seen)
        return Place(shift, 6.0 * position.uncertainty_samples + common, is_heard=False)

    def _recording(self, levels: Sequence[float | None]) -> Event:
        words = f"recording, {length_words(self.seen, self.rate)}"
        more = {
            "samples": self.seen,
            "seconds": round(self.seen / self.rate, 3),
            "sample_rate": self.rate,
            "levels": list(levels),
        }
        return Event("recording", self.name, words, timecode=self.label(self.seen), more=more)

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

    def _sound_news(self, found: Examined, window: Range) -> Iterator[Event]:
        if found.shift is not None:
            self._heard_shift = found.shift
        for at, samples in found.slips:
            if self._flaws.add_slip(at):
                yield self.flaw("slip", at, at, range(len(self.reel.tracks)), {"samples": samples})
        low, high = window[0] + EDGE, window[1] - EDGE
        cut = [flaw for flaw in found.flaws if flaw.start >= low and flaw.end > high]
        # What goes on is seen whole by the next window, which begins before it.
        self._keep = min([self.seen, *(flaw.start - LONE_MARGIN for flaw in cut)])
        going = [
            flaw for flaw in cut if flaw.end > window[1] - START_REACH and flaw.end - flaw.start >= self.rate
        ]
        whole = [flaw for flaw in found.flaws if flaw.start >= low and (flaw in going or flaw not in cut)]
        for kind, place, tracks, goes_on in self._flaws.fresh(whole, high):
            yield self.flaw(kind, *place, tracks, {"goes_on": True} if goes_on else {})

    def _keep_still(self, audio: PassAudio, window: Range, tracks: Sequence[int]) -> None:
        """Let the next window begin before what stands still at the end of this one, to see it whole."""
        changed = [_last_change(audio.read(track, window[0], window[1] - window[0])) for track in tracks]
        last = max(changed)
        if window[1] - window[0] - last > EDGE:
            self._keep = min(self._keep, window[0] + last - OVERLAP)
        else:
            still = window[1] - round(STILL_SECONDS * self.rate)
            short = [window[0] + at for at in changed if window[0] + at >= still]
            self._keep = min([self._keep, *(at - OVERLAP for at in short)])


def _last_change(samples: Int32s) -> int:
    """Return where a track has its value of the end from on."""
    moved = np.flatnonzero(samples != samples[-1])
    return int(moved[-1]) + 1 if moved.size else 0
